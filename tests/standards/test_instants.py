"""Instants against RFC 3339, section 5.8 (examples; from memory) and section 5.6 (grammar; from memory)."""

import pytest

from wanwatch.core.instants import InstantError, instant_from_text, instant_text

S = 1_000_000_000


@pytest.mark.parametrize(
    ("text", "unix_ns", "in_utc"),
    [
        ("1985-04-12T23:20:50.52Z", 482_196_050_520_000_000, "1985-04-12T23:20:50.520000Z"),
        ("1996-12-19T16:39:57-08:00", 851_042_397 * S, "1996-12-20T00:39:57.000000Z"),
        ("1937-01-01T12:00:27.87+00:20", -1_041_337_172_130_000_000, "1937-01-01T11:40:27.870000Z"),
        ("1990-12-31t23:59:59z", 662_687_999 * S, "1990-12-31T23:59:59.000000Z"),  # 5.6: t and z may be small
        ("2026-11-03T10:00:00-00:00", 1_793_700_000 * S, "2026-11-03T10:00:00.000000Z"),  # 4.3: offset not known
        ("0001-01-01T00:00:00Z", -62_135_596_800 * S, "0001-01-01T00:00:00.000000Z"),  # four digits of a year
    ],
)
def test_the_examples_name_their_instants(text: str, unix_ns: int, in_utc: str) -> None:
    """RFC 3339 section 5.8; the Unix times are computed."""
    assert instant_from_text(text) == unix_ns
    assert instant_text(unix_ns) == in_utc


@pytest.mark.parametrize("text", ["1990-12-31T23:59:60Z", "1990-12-31T15:59:60-08:00"])
def test_a_leap_second_is_refused_by_name(text: str) -> None:
    """RFC 3339 section 5.8 allows it; Unix time has no number for it, so it is refused rather than moved."""
    with pytest.raises(InstantError) as caught:
        instant_from_text(text)
    assert str(caught.value) == (
        f"instant {text!r}: a leap second has no Unix time, take the second before or after it;"
        " write it as 2026-11-03T08:30:00Z (RFC 3339)"
    )


@pytest.mark.parametrize(
    "text",
    [
        "",
        "2026-11-03",
        "2026-11-03T10:00:00",  # no offset
        "2026-11-03 10:00:00Z",
        "20261103T100000Z",  # ISO 8601, not RFC 3339
        "2026-W45-2T10:00:00Z",
        "2026-11-03T10:00Z",
        "2026-11-03T10:00:00.Z",
        "2026-11-03T10:00:00+24:00",
        "2026-11-03T10:00:00+0100",
        "2026-02-29T10:00:00Z",  # no leap year
        "2026-11-03T24:00:00Z",
        "٢٠٢٦-11-03T10:00:00Z",  # digits of another script
        "2026-11-03T10:00:00Z\n",
    ],
)
def test_what_the_grammar_does_not_give_is_refused(text: str) -> None:
    """RFC 3339 sections 5.6 and 5.7."""
    with pytest.raises(InstantError):
        instant_from_text(text)


def test_below_a_microsecond_text_is_cut_and_numbers_are_not() -> None:
    """Six digits are written; up to nine are read, and more are cut off."""
    assert instant_text(1_793_700_000 * S + 999) == "2026-11-03T10:00:00.000000Z"
    assert instant_text(-1) == "1969-12-31T23:59:59.999999Z"
    assert instant_from_text("2026-11-03T10:00:00.0000009999Z") == 1_793_700_000 * S + 999
