"""What food law calls an additive: the E number, its class, the warned colours, and the certified colours' US names.

Data and reading only; which words stand on a label is decided in ``ledger.trace.label_text``. Check against the law where you sell: lists change
(FD&C Red No. 3, for one, leaves the US list for food in January 2027), and a number here says nothing about how much may be used.
"""

from __future__ import annotations

import re

from ledger.errors import BadInput

CLASSES = (
    "acid", "acidity regulator", "anti-caking agent", "anti-foaming agent", "antioxidant", "bulking agent", "colour", "emulsifier", "emulsifying salts",
    "firming agent", "flavour enhancer", "flour treatment agent", "foaming agent", "gelling agent", "glazing agent", "humectant", "modified starch",
    "preservative", "propellent gas", "raising agent", "sequestrant", "stabiliser", "sweetener", "thickener",
)  # fmt: skip
"""The classes that stand before an additive's name in the EU: Regulation (EU) 1169/2011 annex VII part C (list from memory)."""
NO_CLASS = "none"
"""Said of a colour or acid that is a food and no additive in the EU (spirulina, carrot concentrate, lemon juice): it is listed by name alone."""

WARNED_COLOURS = {
    "E102": "tartrazine", "E104": "quinoline yellow", "E110": "sunset yellow", "E122": "carmoisine", "E124": "ponceau 4R", "E129": "allura red",
}  # fmt: skip
"""The six colours of Regulation (EC) 1333/2008 annex V, as the United Kingdom's Food Standards Agency lists them in its guidance on it."""

CERTIFIED_US = {
    "E133": ("FD&C Blue No. 1", "Blue 1", "74.101"), "E132": ("FD&C Blue No. 2", "Blue 2", "74.102"), "E143": ("FD&C Green No. 3", "Green 3", "74.203"),
    "E127": ("FD&C Red No. 3", "Red 3", "74.303"), "E129": ("FD&C Red No. 40", "Red 40", "74.340"), "E102": ("FD&C Yellow No. 5", "Yellow 5", "74.705"),
    "E110": ("FD&C Yellow No. 6", "Yellow 6", "74.706"),
}  # fmt: skip
"""By E number: the listed name of a certified food colour, its short name (21 CFR 101.22(k)(1) lets `FD&C` and `No.` go), and its section of 21 CFR.

Sections: 21 CFR part 74 subpart A, foods. Orange B (74.250, sausage casings) and Citrus Red No. 2 (74.302, orange skins) cannot be used in candy.
"""
NOT_IN_US_FOOD = frozenset({"E104", "E122", "E123", "E124", "E131", "E140", "E142", "E151", "E155"})
"""Colours of the EU's list that 21 CFR parts 73 and 74 do not list for food: they are absent from FDA's summary of colour additives for food."""
NOT_IN_EU_FOOD = frozenset({"E143", "E171"})
"""Fast green FCF was never on the EU's list; titanium dioxide was taken off it by Regulation (EU) 2022/63. Both from memory."""

_E_NUMBER = re.compile(r"E?\s*(\d{3,4})\s*([a-z]?)\s*(\((?:i{1,3}|iv|v|vi{0,3})\))?", re.IGNORECASE)


def e_number(text: str) -> str:
    """An E number as it is kept: ``e 129`` and ``E-129`` become ``E129``, ``E 150a`` becomes ``E150a``; nothing stays nothing.

    Raises BadInput for anything else.
    """
    plain = text.strip().replace("-", " ").replace("\u00a0", " ")
    if not plain:
        return ""
    match = _E_NUMBER.fullmatch(plain)
    if match is None:
        raise BadInput(
            f"`{text}` is no E number; give it as `E129` or `E150a`, or leave it out for what is no additive.",
            value=text,
        )
    return f"E{match[1]}{match[2].lower()}{(match[3] or '').lower()}"


def plain_number(number: str) -> str:
    """The number without its form: ``E141(ii)`` is ``E141``; a letter stays, for ``E150a`` and ``E150d`` are different things."""
    return number.partition("(")[0]


def class_of(role: str, number: str, said: str) -> str:
    """The class that stands before an additive's name in the EU: what the book says, else from its role or number; empty for a plain ingredient.

    E100 to E199 are the colours of the EU's list (Regulation (EC) 1333/2008 annex II part B).
    """
    if said == NO_CLASS:
        return ""
    if said:
        return said
    if role in ("colour", "acid"):
        return role
    return "colour" if re.fullmatch(r"E1\d\d[a-z]?(\(\w+\))?", number) else ""


__all__ = [
    "CERTIFIED_US",
    "CLASSES",
    "NOT_IN_EU_FOOD",
    "NOT_IN_US_FOOD",
    "NO_CLASS",
    "WARNED_COLOURS",
    "class_of",
    "e_number",
    "plain_number",
]
