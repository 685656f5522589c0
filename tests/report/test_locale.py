"""The manner of a locale, against CLDR and what its standard and babel's manual give as examples.

Sources: Unicode Technical Standard 35 (LDML), parts 3 and 4; CLDR's data for German, Swiss German, English, Hindi,
French, Turkish and Japanese (written down from memory, and in agreement with babel's copy of them); the examples of
babel's manual (https://babel.pocoo.org, "Number Formatting" and "Date and Time").
"""

import re
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from babel.numbers import parse_decimal

from tests.fakes.acceptance import one_test
from tests.fakes.acceptance import record as accepted
from tests.fakes.month import PERIOD, SUBJECT, at, record, reported
from wanwatch.core.account.calendar import Per
from wanwatch.core.account.period import last_days, month_of, named
from wanwatch.core.model import NS_PER_S, Bounds
from wanwatch.report.acceptance.page import render_html as render_certificate
from wanwatch.report.acceptance.values import certificate_of
from wanwatch.report.as_csv import render_csv
from wanwatch.report.as_json import render_json
from wanwatch.report.cldr import manner_of
from wanwatch.report.dossier.build import build
from wanwatch.report.dossier.page import render_html as render_dossier
from wanwatch.report.html import render_html
from wanwatch.report.pen import Pen

LONDON = ZoneInfo("Europe/London")
LOCALES = ["en-GB", "en-US", "de", "de-CH", "fr", "hi-IN", "ar-EG", "he", "fa", "tr", "ja", "eu", "sv", "pt-BR", "th"]
APRIL = datetime(2007, 4, 1, 15, 30, tzinfo=UTC)
"""The day and the time of the manual's examples."""


def pen(locale: str | None) -> Pen:
    """A London office's."""
    return Pen.of(locale, LONDON)


@pytest.mark.parametrize(
    ("locale", "said"),
    [
        ("de", "1.234.567,50"),
        ("de-CH", "1'234'567.50"),
        ("en-GB", "1,234,567.50"),
        ("hi-IN", "12,34,567.50"),
        ("fr", "1\u202f234\u202f567,50"),
    ],
)
def test_a_number_has_its_locale_s_mark_and_groups(locale: str, said: str) -> None:
    """Groups of two above the thousands in India; an apostrophe in Switzerland."""
    assert pen(locale).decimal(Fraction("1234567.5"), 2).replace("\u2019", "'") == said  # as in older data


@pytest.mark.parametrize(
    ("locale", "said"),
    [
        ("en-US", "99.874%"),
        ("de", "99,874\N{NO-BREAK SPACE}%"),
        ("tr", "%99,874"),
    ],
)
def test_the_sign_of_percent_stands_where_its_locale_puts_it(locale: str, said: str) -> None:
    """Behind, behind a space, or before."""
    assert pen(locale).per_cent(Fraction("0.99874")) == said


def test_the_examples_of_the_manual() -> None:
    """`format_decimal(12345, 'de_DE')`, `format_percent(0.34, 'en_US')`, and 1 April 2007 at 15:30."""
    german, english = manner_of("de-DE"), manner_of("en")
    assert (german.whole(12345), english.whole(12345)) == ("12.345", "12,345")
    assert english.per_cent("34") == "34%"
    assert (german.time(APRIL), english.time(APRIL).replace("\u202f", " ")) == ("15:30:00", "3:30:00 PM")
    assert (german.day_in_digits(APRIL), english.day_in_digits(APRIL)) == ("01.04.2007", "Apr 1, 2007")


def test_instants_are_told_as_their_locale_tells_them() -> None:
    """With the offset as digits, which everybody can read; a fraction is cut, and has the locale's mark."""
    instant = at("13 13:03:20") + 990_000_000
    assert pen("en-US").instant(instant).replace("\u202f", " ") == "Tue, Oct 13, 2:03:20 PM +01:00"
    assert pen("de").instant(instant) == "Di., 13. Okt., 14:03:20 +01:00"
    assert pen("de").clock(instant) == "14:03:20,9"
    assert pen("en-US").clock(instant).replace("\u202f", " ") == "2:03:20.9 PM"
    assert pen("de").moment(instant) == "Di., 13. Okt. at 14:03"
    assert pen("de").exactly(instant) == "13.10.2026, 14:03:20,990 +01:00"
    assert pen("ja").dated(instant) == "2026年10月13日 14:03:20 +01:00"
    assert pen("de").bounds(Bounds(instant, instant - NS_PER_S, instant)) == "14:03:19,9 to 14:03:20,9"


def test_periods_are_named_with_their_locale_s_months() -> None:
    """Quarters and years are words, which stay English."""
    title = {
        text: pen("fr").title(period) for text in ("2026-10", "2026-Q4", "2026") if (period := named(text, LONDON))
    }
    assert title == {"2026-10": "octobre 2026", "2026-Q4": "Quarter 4 of 2026", "2026": "The year 2026"}
    assert pen("de").title(last_days(30, PERIOD.end_unix_ns, LONDON)) == "30 days to 31. Oktober 2026"
    assert pen("de").month_in_short("2026-10") == "Okt. 2026"
    assert month_of(2026, 10, LONDON).per is Per.MONTH


@pytest.mark.parametrize("locale", LOCALES)
def test_what_is_written_can_be_read_back(locale: str) -> None:
    """By babel's own reader of the same locale; and its digits are 0 to 9 in every locale."""
    for text in ("0.000", "0.001", "7", "999.999", "1000", "12345.678", "1234567.50", "999999999.999"):
        said = manner_of(locale).number(text)
        assert parse_decimal(said, locale=locale.replace("-", "_")) == Decimal(text)
        assert re.sub(r"[^\w]", "", said).isascii()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("availability below 99.9 %, 5 % of 1200.00 GBP", "availability below 99,9\xa0%, 5\xa0% of 1.200,00 GBP"),
        ("2 days of 9.33 GBP, 2027-02-03 to 2027-02-04", "2 days of 9,33 GBP, 03.02.2027 to 04.02.2027"),
        ("at most 24 h longer than 1.5 s", "at most 24 h longer than 1,5 s"),
        (
            "p95 at most 15ms, 192.0.2.1, 2001:db8::1, v1.2, G.107",
            "p95 at most 15ms, 192.0.2.1, 2001:db8::1, v1.2, G.107",
        ),
        ("wan-1.5 and eth0.7, RFC 7680, 1492 bytes", "wan-1.5 and eth0.7, RFC 7680, 1492 bytes"),
        ("-21.5 dBm at 1490 nm", "-21,5 dBm at 1490 nm"),
        ("median 8.71 ms.", "median 8,71 ms."),
    ],
)
def test_figures_in_a_sentence_are_rewritten_and_names_are_not(text: str, said: str) -> None:
    """Sentences of the core and of the record hold figures as ISO writes them."""
    assert pen("de").figures_in(text) == said
    assert pen(None).figures_in(text) == text


def test_a_script_from_right_to_left_is_set_apart() -> None:
    """Isolates (UAX 9) around each date: the sentence's other parts keep their order."""
    said = pen("ar-EG").moment(at("13 13:03:20"))
    assert said.count("\N{FIRST STRONG ISOLATE}") == said.count("\N{POP DIRECTIONAL ISOLATE}") == 2
    assert " at " in said
    assert "\N{FIRST STRONG ISOLATE}" not in pen("de").moment(at("13 13:03:20"))


@pytest.mark.parametrize("locale", ["de-CH", "ja"])
def test_a_report_is_written_in_its_locale_s_manner_and_its_data_are_not(locale: str) -> None:
    """The page differs, its charts too, whose fonts lack Japanese; JSON and CSV are the same bytes."""
    plain = reported()
    report = replace(plain, locale=locale)
    page = render_html(report)
    assert manner_of(locale).month(date(2026, 10, 1)) in page
    assert manner_of(locale).weekday(date(2026, 10, 12)) in page
    assert "13 Oct" not in page
    assert render_json(report) == render_json(plain)
    assert render_csv(report) == render_csv(plain)


def test_a_dossier_and_a_certificate_are_too() -> None:
    """Whatever is handed to people is written in one manner; a dossier's ticks of the axis as well."""
    german = replace(SUBJECT, locale="de")
    outage = next(event.id for event in reported().uplinks[0].outages if event.id.endswith("13 13:03:20"))
    dossier = build(record(), german, outage, now_unix_ns=PERIOD.end_unix_ns, clock_error_us=4200)
    page = render_dossier(dossier)
    assert render_dossier(dossier) == page
    assert "between 13:03:19,200 and 13:03:20,000 UTC" in page
    assert "4,20\N{NO-BREAK SPACE}ms" in page or "4,20 ms" in page
    certificate = render_certificate(certificate_of(accepted(one_test()), german, "fibre"))
    assert german.pen.dated(one_test().started_unix_ns) in certificate
    assert "-18,4 dBm" in certificate
