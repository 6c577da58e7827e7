"""What people say against exact definitions, and back again.

Sources: international yard and pound agreement 1959 (1 yd = 0.9144 m, 1 lb = 0.45359237 kg exactly; so 1 in = 25.4 mm, 1 oz = 1/16 lb);
US gallon = 231 cubic inches (exact, NIST Handbook 44, appendix C); C = (F - 32) / 1.8 (exact); absolute zero -273.15 C (SI brochure).
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger import quantities as q
from ledger.errors import BadInput


@pytest.mark.parametrize(
    ("unit", "dimension", "exact"),
    [
        ("lb", "mass", Fraction("453592.37")),
        ("oz", "mass", Fraction("453592.37") / 16),
        ("kg", "mass", Fraction(1_000_000)),
        ("g", "mass", Fraction(1_000)),
        ("t", "mass", Fraction(1_000_000_000)),
        ("in", "length", Fraction(25_400)),
        ("ft", "length", Fraction(304_800)),
        ("cm", "length", Fraction(10_000)),
        ("gal", "volume", Fraction(231) * Fraction("16387.064")),
        ("qt", "volume", Fraction(231) * Fraction("16387.064") / 4),
        ("floz", "volume", Fraction(231) * Fraction("16387.064") / 128),
        ("l", "volume", Fraction(1_000_000)),
        ("h", "time", Fraction(3_600)),
        ("d", "time", Fraction(86_400)),
    ],
)
def test_a_unit_is_what_its_definition_says(unit: str, dimension: str, exact: Fraction) -> None:
    assert q.factor(unit, dimension) == exact


@pytest.mark.parametrize(
    ("text", "mg"),
    [
        ("27.5 lb", round(Fraction("27.5") * Fraction("453592.37"))),
        ("27,5 lb", round(Fraction("27.5") * Fraction("453592.37"))),
        ("12 kg 400 g", 12_400_000),
        ("12 kg + 400 g", 12_400_000),
        ("1 lb 8 oz", round(Fraction("1.5") * Fraction("453592.37"))),
        ("1 1/2 lb", round(Fraction("1.5") * Fraction("453592.37"))),
        ("1/4 kg", 250_000),
        (".5kg", 500_000),
        ("8 KG", 8_000_000),
        ("3 kilos", 3_000_000),
        ("0 g", 0),
    ],
)
def test_a_mass_is_read_as_people_say_it(text: str, mg: int) -> None:
    assert q.mass(text) == mg


@pytest.mark.parametrize(("text", "mc"), [("310 F", 154_444), ("310°F", 154_444), ("212 F", 100_000), ("32 F", 0), ("-40 F", -40_000), ("154 C", 154_000), ("154,5 c", 154_500), ("302 f", 150_000)])  # fmt: skip
def test_a_temperature_is_read_as_people_say_it(text: str, mc: int) -> None:
    assert q.temperature(text) == mc


@pytest.mark.parametrize(("text", "seconds"), [("1 h 20 min", 4_800), ("1:20", 4_800), ("45 min", 2_700), ("1.5 h", 5_400), ("90 s", 90), ("1h20min", 4_800)])  # fmt: skip
def test_a_time_is_read_as_people_say_it(text: str, seconds: int) -> None:
    assert q.duration(text) == seconds


@pytest.mark.parametrize(("text", "um"), [("8 in", 203_200), ("1/2 in", 12_700), ('1/2"', 12_700), ("12.7 mm", 12_700), ("20 cm", 200_000), ("1 ft 2 in", 355_600)])  # fmt: skip
def test_a_length_is_read_as_people_say_it(text: str, um: int) -> None:
    assert q.length(text) == um


def test_shares_counts_and_money_are_read_as_people_say_them() -> None:
    assert (q.share("80.3 %"), q.share("0.803"), q.share("100 %"), q.share("2 %")) == (
        803_000,
        803_000,
        1_000_000,
        20_000,
    )
    assert (q.count("5,016 pieces"), q.count("5 016"), q.count("40 jars")) == (5_016, 5_016, 40)
    assert (q.money("12.50"), q.money("12,5"), q.money("EUR 12.50"), q.money("1250", 0), q.money("-5.90")) == (
        1_250,
        1_250,
        1_250,
        1_250,
        -590,
    )


def test_a_volume_is_a_mass_only_where_the_density_is_known() -> None:
    """Glucose syrup of 1.41 kg/l (common practice, no source): 2 l weigh 2.82 kg."""
    assert q.mass("2 l", density_g_per_l=1_410) == 2_820_000
    with pytest.raises(BadInput, match="measures volume, not mass"):
        q.mass("2 l")


@pytest.mark.parametrize(
    ("read", "text", "words"),
    [
        (q.mass, "8 in", ("`in` measures length, not mass", "27.5 lb")),
        (q.mass, "3 l", ("`l` measures volume, not mass", "27.5 lb")),
        (q.mass, "3 stones", ("`stones` is not a unit I know", "27.5 lb")),
        (q.mass, "3", ("`3` cannot be read", "27.5 lb")),
        (q.mass, "", ("Nothing was given", "27.5 lb")),
        (q.mass, "-3 kg", ("`-3 kg` is below zero",)),
        (q.mass, "1/0 kg", ("`1/0 kg`", "27.5 lb")),
        (q.mass, "1 1/0 kg", ("27.5 lb",)),
        (q.length, "3 kg", ("`kg` measures mass, not length", "8 in")),
        (q.duration, "3 kg", ("`kg` measures mass, not time", "1 h 20 min")),
        (q.duration, "1:75", ("`1:75` cannot be read", "1 h 20 min")),
        (q.temperature, "310", ("`310` cannot be read as a temperature", "310 F")),
        (q.temperature, "310 K", ("310 K", "310 F")),
        (q.temperature, "-300 C", ("below absolute zero", "-273.15 C")),
        (q.share, "120 %", ("more than 100 %",)),
        (q.share, "some", ("2 %",)),
        (q.count, "3.5", ("not a whole number", "5016")),
        (q.count, "-3", ("not a whole number",)),
        (q.money, "much", ("12.50",)),
    ],
    ids=lambda x: getattr(x, "__name__", None),
)
def test_what_cannot_be_read_is_refused_with_the_way_out(read, text: str, words: tuple[str, ...]) -> None:
    with pytest.raises(BadInput) as caught:
        read(text)
    assert caught.value.code == "input.bad"
    for word in words:
        assert word in caught.value.message


WHOLE = st.integers(0, 10**12)


@given(WHOLE)
def test_a_mass_said_in_full_comes_back_as_the_same_integer(mg: int) -> None:
    assert q.mass(q.mass_text(mg, places=6).replace("\u202f", "")) == mg


@given(WHOLE)
def test_a_mass_in_pounds_comes_back_within_what_its_last_place_says(mg: int) -> None:
    """0.01 lb is 4 535.9 mg, 0.01 oz is 283.5 mg: half of the last place at most."""
    text = q.mass_text(mg, "us").replace("\u202f", "")
    last = Fraction("453592.37") / 100 if text.endswith("lb") else Fraction("453592.37") / 1600
    assert abs(q.mass(text) - mg) <= last / 2 + 1


@given(st.integers(-273_150, 400_000).map(lambda mc: mc // 100 * 100).filter(lambda mc: mc >= -273_150))
def test_a_temperature_in_celsius_comes_back_as_the_same_integer(mc: int) -> None:
    assert q.temperature(q.temperature_text(mc)) == mc


@given(st.integers(-459, 800))
def test_a_temperature_in_fahrenheit_comes_back_as_it_was_said(degrees: int) -> None:
    assert q.temperature_text(q.temperature(f"{degrees} F"), "us") == f"{degrees} °F"


@given(st.integers(0, 60 * 24 * 100))
def test_a_time_in_whole_minutes_comes_back_as_the_same_integer(minutes: int) -> None:
    assert q.duration(q.duration_text(minutes * 60)) == minutes * 60


@given(st.integers(0, 10**8))
def test_a_length_comes_back_within_its_last_place(um: int) -> None:
    assert abs(q.length(q.length_text(um).replace("\u202f", "")) - um) <= 50


@given(st.integers(-(10**10), 10**10), st.sampled_from([0, 2, 3]))
def test_money_comes_back_as_the_same_integer(minor: int, digits: int) -> None:
    assert q.money(q.money_text(minor, "EUR", digits).replace("\u202f", ""), digits) == minor


@given(WHOLE, WHOLE)
def test_a_mass_said_in_two_parts_is_the_sum_of_both(kg: int, g: int) -> None:
    assert q.mass(f"{kg} kg {g} g") == kg * 1_000_000 + g * 1_000


@pytest.mark.parametrize(
    ("said", "pascal"),
    # NIST SP 811 (2008), appendix B.8: 1 inHg (conventional) = 3386.389 Pa, 1 mmHg = 133.3224 Pa, 1 atm = 101 325 Pa.
    [("97.2 kPa", 97_200), ("972 hPa", 97_200), ("29.92 inHg", 101_321), ("760 mmHg", 101_325), ("1 atm", 101_325), ("1,01325 bar", 101_325)],
)  # fmt: skip
def test_air_pressure_is_read_in_the_units_of_barometers(said: str, pascal: int) -> None:
    assert abs(q.pressure(said) - pascal) <= 1
