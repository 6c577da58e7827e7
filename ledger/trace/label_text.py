"""The words of a retail label, from what actually went into the batch: ingredients, allergens, colours, lot, dates,
weight.

The list is worked from the lots used (not from a text somebody typed once), so it follows every change of recipe or
supplier. Re-boil is opened into what it was made of, and its allergens come along however little of it there is.

**Check the text against local law before printing.** It follows the rules named below as remembered and read; it does
not know your product's exemptions, languages or claims, and it is no legal advice.

Sources: 21 CFR 101.4 (descending order, "contains 2% or less of"), 101.22 (colours, flavours), 101.7 (net contents,
type size), FALCPA allergen statement; Regulation (EU) 1169/2011 articles 9, 18 to 22, annexes II, VII, IX; Regulation
(EC) 1333/2008 article 24 and annex V (warning for six colours); 21 CFR part 74 (certified colours); Directive
2011/91/EU (lot mark); Directive 76/211/EEC annex I (figures of weight).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from fractions import Fraction
from typing import Literal

from ledger.domain.books.additives import CERTIFIED_US, NOT_IN_EU_FOOD, NOT_IN_US_FOOD, class_of, plain_number
from ledger.domain.books.additives import WARNED_COLOURS as WARNED
from ledger.errors import BadInput
from ledger.trace.allergens import SULPHITE_LIMIT_MG_PER_KG, Market, named, union

Role = Literal["", "water", "colour", "flavour", "acid"]

CAUTION = "Check this text against the food law where you sell before you print it."
OUNCE_MG = Fraction(28349523125, 1_000_000)
MINOR_PERCENT = 2
WARNED_COLOURS = frozenset(WARNED)
EFFECT = "may have an adverse effect on activity and attention in children"
"""The words of Regulation (EC) 1333/2008 annex V, which follow the name or E number of the colours."""


@dataclass(frozen=True, slots=True)
class Used:
    """One ingredient as it went in: names as labels want them, mass as added (milligrams), allergens of the lot used.

    ``us`` is the common name (for a certified colour ``Red 40``, for a flavour ``natural flavor``); ``eu`` the EU
    name, with ``e_number`` where it has one. ``certified`` marks a certified colour; other colours in the US list are
    shown as ``us`` says (``beet color``; carmine always by name). ``additive_class`` is the word before an additive's name in the EU, where it
    does not follow from role and number.
    """

    us: str
    eu: str
    mass_mg: int
    allergens: frozenset[str] = frozenset()
    role: Role = ""
    e_number: str = ""
    certified: bool = False
    so2_mg_per_kg: int = 0
    additive_class: str = ""


@dataclass(frozen=True, slots=True)
class Reboil:
    """Re-boil that went in: how much, and everything that the lot it came from was made of (at any size of batch)."""

    mass_mg: int
    made_of: tuple[Used, ...]


@dataclass(frozen=True)
class LabelWords:
    """The text of a label. ``emphasis`` holds the words to set in bold (EU allergens); ``notes`` is for the printer,
    not printed."""

    market: Market
    ingredients: str
    allergens: str
    emphasis: tuple[str, ...]
    lot: str
    best_before: str
    net: str
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = field(default=())


def opened(used: Sequence[Used], reboil: Sequence[Reboil] = ()) -> tuple[Used, ...]:
    """The ingredients with re-boil opened into its own, equal ones added up; allergens are united, never dropped.

    Water is taken out of the re-boil's making first: it boiled off there, so all of the re-boil's mass is its other
    parts.

    Raises:
        BadInput: a re-boil that is made of nothing (its lot has no ingredients on record).
    """
    parts = list(used)
    for lot in reboil:
        solids = [u for u in lot.made_of if u.role != "water"]
        whole = sum(u.mass_mg for u in solids)
        if whole <= 0:
            raise BadInput("A re-boil lot has no ingredients on record; trace it first, its allergens are not known.")
        parts += [replace(u, mass_mg=round(Fraction(u.mass_mg * lot.mass_mg, whole))) for u in solids]
    merged: dict[tuple[str, str, str], Used] = {}
    for part in parts:
        key = (part.us.lower(), part.eu.lower(), part.e_number)
        old = merged.get(key)
        if old is not None:
            part = replace(
                old,
                mass_mg=old.mass_mg + part.mass_mg,
                allergens=union(old.allergens, part.allergens),
                so2_mg_per_kg=max(old.so2_mg_per_kg, part.so2_mg_per_kg),
            )
        merged[key] = part
    return tuple(sorted(merged.values(), key=lambda u: (-u.mass_mg, u.us.lower())))


def label_words(
    used: Sequence[Used],
    *,
    market: Market,
    lot: str,
    net_mg: int,
    reboil: Sequence[Reboil] = (),
    best_before: date | None = None,
    net_ounces: Fraction | None = None,
) -> LabelWords:
    """The words for one pack of a lot.

    ``net_mg`` is the declared net weight; ``net_ounces`` the round ounces behind it if the shop declares in ounces.

    Raises:
        BadInput: no ingredients, an ingredient without a name in this market's language, or an allergen that is not
        known.
    """
    if market not in ("us", "eu"):
        raise BadInput(f"Labels are written for us or eu, not {market!r}.", value=market)
    listed = [u for u in opened(used, reboil) if u.role != "water"]
    if not listed:
        raise BadInput("There is nothing to list: give the ingredients as they went in.")
    nameless = [u.us or u.eu for u in listed if not (u.us if market == "us" else u.eu)]
    if nameless:
        raise BadInput(
            f"{', '.join(nameless)} has no name for {market} labels; add it to the material.", materials=nameless
        )
    codes = union(*(u.allergens for u in listed))
    total = sum(u.mass_mg for u in listed)
    so2 = Fraction(sum(u.so2_mg_per_kg * u.mass_mg for u in listed), total)
    if so2 > SULPHITE_LIMIT_MG_PER_KG:
        codes |= {"sulphites"}
    names = named(codes, market)
    text = _us_list(listed, total) if market == "us" else _eu_list(listed)
    warned = [u for u in listed if plain_number(u.e_number) in WARNED_COLOURS]
    warnings: tuple[str, ...] = ()
    if market == "eu" and warned:
        warnings = (f"{', '.join(dict.fromkeys(_sentence(u.eu) for u in warned))}: {EFFECT}.",)
    emphasis: tuple[str, ...] = ()
    if market == "eu":
        emphasis = names
        loose = [n for n in names if n.lower() not in text.lower()]
        statement = f"Contains: {', '.join(loose)}." if loose else ""
    else:
        statement = f"Contains: {', '.join(names)}." if names else ""
    return LabelWords(
        market=market,
        ingredients=f"Ingredients: {text}.",
        allergens=statement,
        emphasis=emphasis,
        lot=f"L {lot}",
        best_before=f"Best before {best_before.isoformat()}" if best_before else "",
        net=net_weight(net_mg, market, ounces=net_ounces),
        warnings=warnings,
        notes=(CAUTION, *_additive_notes(market, listed), *_notes(market, net_mg, names)),
    )


def _us_list(listed: Sequence[Used], total: int) -> str:
    """Descending weight; what is 2 % or less follows after the permitted words (21 CFR 101.4(a)(2)), in descending
    order too."""
    major = [u.us for u in listed if u.mass_mg * 100 > MINOR_PERCENT * total]
    minor = [u.us for u in listed if u.mass_mg * 100 <= MINOR_PERCENT * total]
    text = ", ".join([_sentence(major[0]), *major[1:]]) if major else ""
    if not minor:
        return text
    tail = f"contains {MINOR_PERCENT}% or less of: {', '.join(minor)}"
    return f"{text}, {tail}" if text else tail


def _eu_list(listed: Sequence[Used]) -> str:
    """Descending weight; additives by their class and name, with the E number where there is one."""
    out = []
    for u in listed:
        known = f"{u.eu} ({u.e_number})" if u.e_number and u.e_number.lower() not in u.eu.lower() else u.eu
        word = class_of(u.role, u.e_number, u.additive_class)
        out.append(f"{word}: {known}" if word else known)
    return ", ".join([_sentence(out[0]), *out[1:]])


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def net_weight(net_mg: int, market: Market, *, ounces: Fraction | None = None) -> str:
    """The declaration of net weight: ``Net Wt 4 oz (113 g)`` in the US, ``113 g`` in the EU.

    Neither figure overstates the contents: grams and hundredths of an ounce are cut down, not rounded up.

    Raises:
        BadInput: less than a gram, or ounces that promise more than ``net_mg``.
    """
    if net_mg < 1000:
        raise BadInput(f"A net weight of {net_mg} mg is below one gram; weigh again.", value=net_mg)
    grams = net_mg // 1000
    metric = f"{grams // 1000}.{grams % 1000:03d}".rstrip("0").rstrip(".") + " kg" if grams >= 1000 else f"{grams} g"
    if market == "eu":
        return metric
    if ounces is not None and ounces * OUNCE_MG > net_mg + 1000:
        raise BadInput(
            f"{float(ounces):g} oz is {float(ounces * OUNCE_MG) / 1000:.1f} g, more than {grams} g.", ounces=ounces
        )
    hundredths = int(ounces * 100) if ounces is not None else int(Fraction(net_mg) / OUNCE_MG * 100)
    said = f"{hundredths // 100}.{hundredths % 100:02d}".rstrip("0").rstrip(".")
    pounds = ""
    if hundredths >= 1600:
        whole, rest = divmod(hundredths, 1600)
        left = f"{rest // 100}.{rest % 100:02d}".rstrip("0").rstrip(".")
        pounds = f" ({whole} lb {left} oz)" if rest else f" ({whole} lb)"
    return f"Net Wt {said} oz{pounds} ({metric})"


def us_type_height(panel_in2: float) -> Fraction:
    """Smallest height of the net weight's letters, inches, by area of the principal display panel (21 CFR 101.7(i))."""
    for to, height in ((5, Fraction(1, 16)), (25, Fraction(1, 8)), (100, Fraction(3, 16)), (400, Fraction(1, 4))):
        if panel_in2 <= to:
            return height
    return Fraction(1, 2)


def us_panel_area(height_in: float, *, width_in: float = 0.0, circumference_in: float = 0.0) -> float:
    """Area of the principal display panel, square inches: height x width, or 40 % of height x circumference for a
    round jar."""
    if bool(width_in) == bool(circumference_in):
        raise BadInput("Give the width of a flat pack or the circumference of a round jar, one of the two.")
    return height_in * width_in if width_in else 0.4 * height_in * circumference_in


def eu_figure_height_mm(net_mg: int) -> int:
    """Smallest height of the figures of the quantity, millimetres (Directive 76/211/EEC annex I 3.1)."""
    for to, height in ((50_000, 2), (200_000, 3), (1_000_000, 4)):
        if net_mg <= to:
            return height
    return 6


def _additive_notes(market: Market, listed: Sequence[Used]) -> Sequence[str]:
    """What is odd about an additive in this market: not listed there, not certified, or without its number."""
    told: list[str] = []
    for u in listed:
        number = plain_number(u.e_number)
        if market == "eu":
            if number in NOT_IN_EU_FOOD:
                told.append(
                    f"{u.eu} ({number}) is not on the EU's list of food additives: sweets with it may not be sold there."
                )
            elif u.certified and not number:
                told.append(
                    f"{u.eu} has no E number in the book; whether the EU's warning for six colours is due depends on it."
                )
            continue
        if number in NOT_IN_US_FOOD:
            told.append(
                f"{u.us} ({number}) is not listed for food in 21 CFR parts 73 and 74: candy with it may not be sold in the US."
            )
        elif number in CERTIFIED_US:
            name, short, section = CERTIFIED_US[number]
            if not u.certified:
                told.append(
                    f"{name} must come from a certified batch (21 CFR {section}); the book does not say that this one does."
                )
            if short.lower() not in _bare(u.us):
                told.append(f"The US label calls {number} `{u.us}`; its listed name is {name} (or {short}).")
        elif number == "E120" and not any(x in u.us.lower() for x in ("carmine", "cochineal extract")):
            told.append(f"`{u.us}` must be named `carmine` or `cochineal extract` in the US (21 CFR 73.100).")
    return tuple(dict.fromkeys(told))


def _bare(name: str) -> str:
    """A certified colour's name without what 21 CFR 101.22(k)(1) lets go: `FD&C Red No. 40 Lake` is `red 40 lake`."""
    return " ".join(name.lower().replace("fd&c", "").replace("no.", "").split())


def _notes(market: Market, net_mg: int, allergens: Sequence[str]) -> tuple[str, ...]:
    """What the person who lays out the label must know."""
    if market == "us":
        return (
            "Net weight: lower 30 % of the front, letters at least 1/16 in on a front up to 5 sq in, 1/8 in up to "
            "25, 3/16 in up to 100.",
            "Allergen statement: right after the ingredients, no smaller type than theirs.",
        )
    bold = f"Set {', '.join(allergens)} in bold in the list." if allergens else "No allergen to set in bold."
    return (
        f"Figures of the weight at least {eu_figure_height_mm(net_mg)} mm high.",
        bold,
        "Small letters (x-height) at least 1.2 mm, 0.9 mm on packs under 80 square cm.",
        "A lot mark beginning with L is needed on pre-packed sweets; a date of minimum durability is not, for sweets "
        "of sugar alone.",
    )
