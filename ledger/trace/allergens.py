"""The allergens that must be named: the nine of the United States, the fourteen of the European Union.

Sources: FD&C Act 201(qq) with the FALCPA (2004) and FASTER (2021) acts; Regulation (EU) 1169/2011 annex II. The
exemptions kept here are those a sugar workshop meets: glucose syrup made from wheat is exempt in the EU and must be
declared in the US; highly refined soya oil is exempt in both; sulphites count in the EU above 10 mg/kg. Check against
the law where you sell.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from ledger.errors import BadInput

Market = Literal["us", "eu"]


@dataclass(frozen=True, slots=True)
class Allergen:
    """One allergen by its code, with its name on labels of either market (nothing = not one of that market's list)."""

    code: str
    us: str = ""
    eu: str = ""


ALLERGENS = {
    a.code: a
    for a in (
        Allergen("milk", "Milk", "milk"),
        Allergen("egg", "Egg", "eggs"),
        Allergen("fish", "Fish", "fish"),
        Allergen("crustacean", "Crustacean shellfish", "crustaceans"),
        Allergen("tree-nut", "Tree nuts", "nuts"),
        Allergen("wheat", "Wheat", "wheat"),
        Allergen("peanut", "Peanuts", "peanuts"),
        Allergen("soy", "Soy", "soya"),
        Allergen("sesame", "Sesame", "sesame"),
        Allergen("gluten", "", "cereals containing gluten"),
        Allergen("celery", "", "celery"),
        Allergen("mustard", "", "mustard"),
        Allergen("sulphites", "", "sulphites"),
        Allergen("lupin", "", "lupin"),
        Allergen("mollusc", "", "molluscs"),
    )
}
"""US: nine. EU: fourteen groups, where wheat is one of the cereals containing gluten."""

SPECIFIC = ("tree-nut", "fish", "crustacean")
"""The species must be named (almond, cod, shrimp): ``tree-nut:almond``."""
EXEMPT: dict[Market, frozenset[str]] = {
    "eu": frozenset({"wheat@glucose-syrup", "gluten@glucose-syrup", "soy@refined-oil"}),
    "us": frozenset({"soy@refined-oil", "peanut@refined-oil"}),
}
"""``allergen@source``: an allergen from a source so refined that it need not be named in that market."""
SULPHITE_LIMIT_MG_PER_KG = 10


def named(codes: Iterable[str], market: Market) -> tuple[str, ...]:
    """The label names of allergen codes for a market, each once, in the list's order.

    A code may carry a species (``tree-nut:almond``) and a source (``wheat@glucose-syrup``).

    Raises:
        BadInput: a code not known, or a nut, fish or shellfish without its species.
    """
    known = list(ALLERGENS)
    found: dict[tuple[int, str], str] = {}
    for code in codes:
        plain, _, source = code.partition("@")
        kind, _, species = plain.partition(":")
        if kind not in ALLERGENS:
            raise BadInput(f"{code!r} is no allergen known here; known are {', '.join(ALLERGENS)}.", value=code)
        if kind in SPECIFIC and not species:
            raise BadInput(
                f"{code!r} needs its species, like {kind}:{'almond' if kind == 'tree-nut' else '…'}.", value=code
            )
        if source and f"{kind}@{source}" in EXEMPT[market]:
            continue
        name = ALLERGENS[kind].us if market == "us" else ALLERGENS[kind].eu
        if name:
            shown = species.capitalize() if species and market == "us" else species or name
            found[(known.index(kind), shown)] = shown
    return tuple(found[key] for key in sorted(found))


def union(*groups: Iterable[str]) -> frozenset[str]:
    """All allergens of several lots together: a blend, or a batch with re-boil in it, carries every one of them."""
    return frozenset(code for group in groups for code in group)
