"""HTML of a form as text: every value escaped, every field labelled. The script in `assets/bench.js` reads the names as paths.

A field named `takes.0.mass` becomes `{"takes": [{"mass": ...}]}`. `data-unit` is the unit meant when only a number is typed. A group
with `data-need` is left out as long as none of the fields it names is filled.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from itertools import count

_number = count(1)


class Html(str):
    """Text that is markup already."""

    __slots__ = ()


def tag(name: str, /, *children: str | Iterable[str] | None, **attributes: object) -> Html:
    """One element. Children that are not `Html` are escaped; `data_unit` becomes `data-unit`, `class_` becomes `class`."""
    told = "".join(
        f' {k.rstrip("_").replace("_", "-")}' + ("" if v is True else f'="{escape(str(v), quote=True)}"')
        for k, v in attributes.items() if v not in (None, False)
    )  # fmt: skip
    if name in ("input", "img", "br"):
        return Html(f"<{name}{told}>")
    return Html(f"<{name}{told}>{join(children)}</{name}>")


def join(children: Iterable[str | Iterable[str] | None]) -> Html:
    """Children in a row."""
    return Html("".join(_one(c) for c in children if c is not None))


def _one(child: str | Iterable[str]) -> str:
    if isinstance(child, Html):
        return child
    return escape(child) if isinstance(child, str) else join(child)


def field(path: str, label: str, value: str = "", unit: str = "", hint: str = "", *, kind: str = "text", mode: str = "decimal",
          required: bool = False, help: str = "", clears: bool = False, exact: str = "", among: Sequence[str] = (),
          worded: bool = False) -> Html:  # fmt: skip
    """A big field with its label, unit, and a place for what was understood or what is wrong with it.

    clears: emptied, it is sent empty. exact: what is sent as long as nobody touches the (rounded) value shown. among: what is offered while
    typing. worded: the unit is only told, never sent (a count of days is a bare number).
    """
    id = f"f{next(_number)}"
    return tag(
        "div", tag("label", label, tag("span", unit, class_="unit") if unit else None, for_=id),
        tag("input", id=id, name=path, type=kind, value=value, placeholder=hint, inputmode=mode if kind == "text" else None, autocomplete="off",
            data_unit=(unit or None) if not worded else None, list=f"{id}-among" if among else None, required=required, aria_describedby=f"{id}-help {id}-said" if help else f"{id}-said", data_planned=value or None, data_clears=clears and bool(value), data_exact=exact or None),
        tag("datalist", [tag("option", value=x) for x in among], id=f"{id}-among") if among else None,
        tag("p", help, id=f"{id}-help", class_="help") if help else None, tag("p", id=f"{id}-said", class_="said", data_for=path), class_="field",
    )  # fmt: skip


def choice(path: str, label: str, options: Sequence[tuple[str, str]], value: str = "", none: str = "", *, clears: bool = False,
           into: bool = False) -> Html:  # fmt: skip
    """A list to choose from; `none` is the words for choosing nothing. `into`: the script keeps it to the portions the form names."""
    id = f"f{next(_number)}"
    shown = [("", none), *options] if none else list(options)
    return tag(
        "div", tag("label", label, for_=id),
        tag("select", [tag("option", text, value=v, selected=v == value) for v, text in shown], id=id, name=path,
            data_clears=clears and bool(value), data_into=into, data_planned=value or None),
        tag("p", id=f"{id}-said", class_="said", data_for=path), class_="field",
    )  # fmt: skip


def taps(path: str, label: str, options: Sequence[tuple[str, str]], value: str = "") -> Html:
    """A choice by tapping one of a few."""
    many = [
        tag("label", tag("input", type="radio", name=path, value=v, checked=v == value, required=True), tag("span", text), class_="tap")
        for v, text in options
    ]  # fmt: skip
    return tag(
        "fieldset",
        tag("legend", label),
        tag("div", many, class_="taps"),
        tag("p", class_="said", data_for=path),
        class_="field",
    )


def hidden(path: str, value: str, *, with_day: bool = False) -> Html:
    """A value nobody has to see. `with_day`: it is left out when the form's day is changed."""
    return tag("input", type="hidden", name=path, value=value, data_with_day=with_day)


def group(path: str, *children: str, need: str = "", class_: str = "group", remove: str = "", spare: bool = False, rest: bool = False) -> Html:  # fmt: skip
    """Fields that belong together; sent only when one of `need` (names split by spaces) is filled.

    rest: sent too as soon as a row beside it is sent. remove: what the row is, where it may be taken out ("portion white"). spare: not shown until `rows` is asked for one more.
    """
    taken = (
        tag("button", "Take out", type="button", class_="plain", data_remove=True, aria_label=f"Take out {remove}")
        if remove
        else None
    )
    return tag(
        "div",
        *children,
        taken,
        class_=class_,
        data_row=path,
        data_need=need or None,
        data_spare=spare,
        data_rest=rest,
        hidden=spare,
    )


def rows(title: str, add: str, shown: Sequence[str], spare: Sequence[str]) -> Html:
    """Rows under one title, and a button that brings out a spare one."""
    button = tag("button", add, type="button", class_="plain", data_add=True) if spare else None
    return tag("fieldset", tag("legend", title) if title else None, *shown, *spare, button, class_="rows")


BLOCKED = "data-blocked"
"""Stands in a form that has nothing to record yet; it gets no button to record with."""


def first(words: str, kind: str, what: str) -> Html:
    """What must stand in the book before this form is of use, with the way there."""
    way = tag("a", f"Enter {what} in the book", href=f"/book?kind={kind}", class_="button")
    return tag("div", tag("p", words, class_="caution"), tag("p", way), data_blocked=True)


def more(title: str, *children: str, open: bool = False) -> Html:
    """Fields seldom needed; `open` where something stands in them."""
    return tag("details", tag("summary", title), tag("div", *children, class_="more"), open=open)
