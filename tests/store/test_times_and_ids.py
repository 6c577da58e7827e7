"""Times as text, ids by time. RFC 9562 appendix A.6 gives the sample id."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import BadInput
from ledger.store.ids import uuid7, uuid7_from
from ledger.store.times import from_utc_text, utc_text

moments = st.datetimes(datetime(2000, 1, 1), datetime(2200, 1, 1), timezones=st.just(UTC))


@given(moments, moments)
def test_text_order_is_time_order(one: datetime, other: datetime) -> None:
    assert (utc_text(one) < utc_text(other)) == (one < other)
    assert from_utc_text(utc_text(one)) == one
    assert len(utc_text(one)) == 27


def test_a_moment_of_any_zone_is_written_in_utc() -> None:
    assert (
        utc_text(datetime(2026, 10, 30, 11, 15, tzinfo=timezone(timedelta(hours=2)))) == "2026-10-30T09:15:00.000000Z"
    )
    with pytest.raises(BadInput, match="has no time zone"):
        utc_text(datetime(2026, 10, 30))
    with pytest.raises(BadInput, match="is not written as"):
        from_utc_text("2026-10-30T09:15:00Z")


def test_the_sample_id_of_rfc_9562_appendix_a_6() -> None:
    """Unix time 0x017F22E279B0 ms, rand_a 0xCC3, rand_b 0x18C4DC0C0C07398F."""
    random = bytes.fromhex("0cc3" + "18c4dc0c0c07398f")
    assert uuid7_from(0x017F22E279B0, random).upper() == "017F22E2-79B0-7CC3-98C4-DC0C0C07398F"


def test_ids_differ_and_carry_version_and_variant() -> None:
    made = {uuid7() for _ in range(1000)}
    assert len(made) == 1000
    assert all(len(one) == 36 and one[14] == "7" and one[19] in "89ab" for one in made)
