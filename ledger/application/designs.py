"""Where the pictures are: a folder of the shop's own beside the ledger, then the ones that come with the program.

A design of the book names its picture (`heart`), and two plain files carry it: `heart.toml`, the legend, and the picture the
legend names. A file of the shop's own hides one of the same name that came with the program. In the same folder `sheet.toml`
holds what the shop sets for its sheets (see `Bench`).
"""

from __future__ import annotations

import json
import os
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, fields
from importlib.resources import files
from pathlib import Path
from typing import Any

from ledger import quantities
from ledger.application.ledger import Ledger
from ledger.craft.density import CLEAR_KG_M3, PULLED_KG_M3
from ledger.craft.errors import LegendUnreadable
from ledger.craft.picture_legend import read_legend
from ledger.domain.books.entries import Design
from ledger.errors import BadInput, UnknownThing

VARIABLE = "SLABBOOK_DESIGNS"
SETTINGS = "sheet.toml"
SHIPPED = ("designs", "stripes")
_STEM = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _\-]{0,63}")
_FILE = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _\-]{0,63}\.(svg|png)", re.IGNORECASE)
MOST_BYTES = 20_000_000


class DesignMissing(UnknownThing):
    """A design whose picture or legend is in none of the folders where pictures are looked for."""

    code = "designs.missing"


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignFiles:
    """The two files of a design, as bytes, and the folder they were found in (empty: made up for a plain rod)."""

    name: str
    legend: bytes
    picture: bytes
    folder: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """What a shop sets once for all its sheets; every field has a usual value.

    Attributes:
        least_line: thinnest line or gap it trusts in a rod. rod_length: what rods are cut to on the table.
        ends: length of log lost to both tapered ends together (0: a sixteenth of the log's
            diameter, common practice, no source). longest_log: what table and crew can handle.
        rod_step: one step of its rod gauge. loads: kettle loads that can be worked before the first has gone hard.
        clear, pulled: densities, kg/m3, used until its own pieces have been weighed.
        water_percent: mains water by mass of the sugar, for a recipe that lists none.
    """

    least_line_um: int = 400
    rod_length_um: int = 600_000
    ends_um: int = 0
    longest_log_um: int = 450_000
    rod_step_um: int = 794
    loads: int = 2
    clear_kg_m3: int = CLEAR_KG_M3
    pulled_kg_m3: int = PULLED_KG_M3
    water_percent: int = 30


def folders(ledger: Ledger) -> tuple[Path, ...]:
    """Where pictures are looked for, first found first used: `SLABBOOK_DESIGNS`, or `designs` beside the ledger file; then our own."""
    named = os.environ.get(VARIABLE, "")
    url = ledger.store.url
    own = [Path(x) for x in named.split(os.pathsep) if x]
    if not own and url.get_backend_name() == "sqlite" and url.database and url.database != ":memory:":
        own = [Path(url.database).resolve().parent / "designs"]
    shipped = files("seeds")
    return (*own, *(Path(str(shipped.joinpath(name))) for name in SHIPPED))


def find_design(places: Sequence[Path], design: Design) -> DesignFiles:
    """The files of a design of the book. A plain rod needs none.

    Raises:
        BadInput: a name that is no plain file name. DesignMissing: no such files; the message lists the folders and what is there.
        LegendUnreadable: the legend cannot be read.
    """
    stem = design.picture.rsplit(".", 1)[0] if design.picture else design.id.lower()
    if not _STEM.fullmatch(stem):
        raise BadInput(
            f"Design {design.id} names the picture `{design.picture}`: use a plain name such as `heart`, without folders.",
            value=design.picture,
        )
    for place in places:
        legend = place / f"{stem}.toml"
        if legend.is_file():
            data = _read(legend)
            picture = read_legend(data).picture
            if not _FILE.fullmatch(picture):
                raise LegendUnreadable(
                    f"The legend {legend} names the picture `{picture}`: name an SVG or PNG beside it, without folders."
                )
            file = place / picture
            if not file.is_file():
                raise DesignMissing(
                    f"The legend {legend} names the picture `{picture}`, and it is not beside it. Put it there, or correct the name.",
                    design=design.id, file=str(file),
                )  # fmt: skip
            return DesignFiles(name=stem, legend=data, picture=_read(file), folder=str(place))
    if design.kind == "plain" and not design.picture:
        legend_of_one = _PLAIN.replace("NAME", json.dumps(design.name or design.id, ensure_ascii=False))
        return DesignFiles(name=stem, legend=legend_of_one.encode(), picture=_DISC, folder="")
    known = sorted({x.stem for p in places if p.is_dir() for x in p.glob("*.toml")} - {Path(SETTINGS).stem})
    raise DesignMissing(
        f"Design {design.id} has no picture: `{stem}.toml` is in none of {', '.join(map(str, places))}. "
        f"Draw one (docs/how-to/draw-a-design.md), or name one that is there: {', '.join(known)}.",
        design=design.id, looked_in=[str(p) for p in places], known=known,
    )  # fmt: skip


def read_bench(places: Sequence[Path]) -> Bench:
    """What the shop set in `sheet.toml`, the usual values where it set nothing.

    Raises:
        BadInput: the file is not TOML, or a field is unknown or not a length or a count.
    """
    for place in places:
        file = place / SETTINGS
        if file.is_file():
            try:
                table = tomllib.loads(_read(file).decode())
            except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
                raise BadInput(f"{file} cannot be read: {fault}.", value=str(file)) from fault
            return _bench(table, file)
    return Bench()


def _bench(table: dict[str, Any], file: Path) -> Bench:
    known = {f.name.removesuffix("_um").removesuffix("_kg_m3"): f.name for f in fields(Bench)}
    values: dict[str, int] = {}
    for word, value in table.items():
        name = known.get(word)
        if name is None:
            raise BadInput(f"{file}: there is no setting `{word}`; known are {', '.join(known)}.", value=word)
        if name.endswith("_um") and isinstance(value, str):
            values[name] = quantities.length(value)
        elif not name.endswith("_um") and isinstance(value, int) and not isinstance(value, bool) and value > 0:
            values[name] = value
        else:
            example = '`"0.4 mm"`' if name.endswith("_um") else "a whole number above zero"
            raise BadInput(f"{file}: `{word}` is {value!r}; give {example}.", value=str(value))
    return Bench(**values)


def _read(file: Path) -> bytes:
    if file.stat().st_size > MOST_BYTES:
        raise BadInput(f"{file} is larger than {MOST_BYTES // 1_000_000} MB; save it smaller.", value=str(file))
    return file.read_bytes()


_PLAIN = """name = NAME
version = 1
picture = "plain.svg"
outside = "#ffffff"
jacket = "none"
pour_allowance_percent = 2
[portion.all]
title = "the whole batch"
colour = "#d9b38c"
[[build]]
step = "Fold to one log, roll even"
portions = ["all"]
minutes = 5
"""
_DISC = b"""<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 200 200"><circle cx="100" cy="100" r="100" fill="#d9b38c"/></svg>"""

__all__ = ["Bench", "DesignFiles", "DesignMissing", "find_design", "folders", "read_bench"]
