"""What a page is, and how to add one.

To add a page, put a module into `dashboard/pages/` that calls `register` once:

    def layout(ledger: Ledger, asked: Asked) -> list[Component]:   # what stands on the page; runs anew when another tablet records
        ...

    register(Page(path="/lots", name="Lots", order=70, layout=layout, filters=filters, intro="Every lot and what became of it"))

`asked` is the address: `asked.get("week")` reads `?week=...`. `filters(ledger, asked)` (optional) gives the fields above the page; a
field made with `dashboard.components.fields` writes itself into the address when changed. Both are plain functions: call them in a test.
Nothing else has to be touched: the menu, the address, the `as of` line, printing and live updates come from the shell.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qsl, urlencode

from ledger.application.ledger import Ledger

Asked = dict[str, str]
Layout = Callable[[Ledger, Asked], list[Any]]


def no_filters(_ledger: Ledger, _asked: Asked) -> list[Any]:
    """A page without filters."""
    return []


@dataclass(frozen=True, slots=True)
class Page:
    """One page: its address, its name in the menu (empty: not in it), where it stands there, and its two functions."""

    path: str
    name: str
    order: int
    layout: Layout
    filters: Layout = no_filters
    intro: str = ""
    menu: bool = True


_pages: dict[str, Page] = {}


def register(page: Page) -> Page:
    """Make a page known by its path."""
    _pages[page.path] = page
    return page


def pages() -> list[Page]:
    """Every page, in the order of the menu. Importing the modules of `dashboard.pages` registers them."""
    import dashboard.pages as package

    for module in pkgutil.iter_modules(package.__path__):
        importlib.import_module(f"{package.__name__}.{module.name}")
    return sorted(_pages.values(), key=lambda p: (p.order, p.path))


def read_address(search: str | None) -> Asked:
    """The filters in an address: `?week=2026-W44&flavour=LEMON`."""
    return dict(parse_qsl((search or "").removeprefix("?")))


def address(path: str, asked: Asked, **changed: str) -> str:
    """An address with its filters, empty ones left out."""
    kept = {k: v for k, v in {**asked, **changed}.items() if v}
    return f"{path}?{urlencode(kept)}" if kept else path
