"""The certificate of an acceptance test: as JSON, as text, as a page, and beside the first one."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from tests.fakes.acceptance import GIVEN, later, one_test, record
from tests.fakes.month import SUBJECT
from tests.report.test_pdf import printed
from wanwatch.core.acceptance import About, Photograph, Progress, Step, Verdict
from wanwatch.report.acceptance import NoTestError, certificate_command, certificate_of
from wanwatch.report.acceptance.data import render_brief, render_json, render_text, to_json
from wanwatch.report.acceptance.page import render_html
from wanwatch.report.acceptance.story import SECTIONS
from wanwatch.report.acceptance.values import Certificate
from wanwatch.report.pdf import PAPERS, to_pdf
from wanwatch.report.subject import Contract

NASTY = "<script>alert(1)</script>"


def certificate(*tests: Progress) -> Certificate:
    """The certificate of the last of these tests."""
    return certificate_of(record(*tests), SUBJECT, "fibre")


def test_every_item_has_its_table_on_the_page() -> None:
    """An item in no table would have a verdict that nobody sees."""
    tabled = [about for _, of in SECTIONS for about in of]
    assert sorted(tabled) == sorted(About)


def test_an_uplink_that_was_never_tested_has_no_certificate() -> None:
    """The error says how to get one."""
    with pytest.raises(NoTestError, match=r"uplink 'fibre': no acceptance test of it is kept; make one with"):
        certificate_of(record(), SUBJECT, "fibre")


def test_the_json_has_each_item_with_its_limit_source_and_method() -> None:
    """Whoever reads it later can say why each verdict is what it is."""
    told = json.loads(render_json(certificate(one_test())))
    assert set(told) == {
        "site", "uplink", "provider", "reference", "circuit", "started", "ended", "finished", "verdict", "items",
        "handover", "interruptions", "amount", "clock", "first",
    }  # fmt: skip
    assert (told["verdict"], told["finished"], told["first"]) == ("not-decided", True, None)
    light = next(item for item in told["items"] if item["about"] == "light")
    assert set(light) == {
        "about", "of", "title", "verdict", "value", "limit", "source", "method", "reason", "figure", "values", "first",
        "worse",
    }  # fmt: skip
    assert (light["value"], light["limit"]) == ("-18.4 dBm at 1490 nm", "-27 to -8 dBm")
    assert light["source"] == "ITU-T G.984.2, class B+"


def test_a_later_test_stands_beside_the_first_and_says_what_is_worse() -> None:
    """Not beside the one before it: a line that fades does so little by little. An unfinished one is no first."""
    unfinished = one_test(started_unix_ns=0, steps=3)
    told = to_json(certificate(unfinished, one_test(), one_test(started_unix_ns=one_test().kept_unix_ns), later()))
    items: list[dict[str, object]] = told["items"]  # type: ignore[assignment]  # what to_json gives
    assert {str(item["about"]) for item in items if item["worse"]} == {"speed-down", "light"}
    assert told["first"] == {"started": "2026-11-02T09:00:00.000000Z", "ended": "2026-11-02T09:22:00.000000Z"}


def test_a_test_that_is_not_finished_has_not_passed() -> None:
    """Its certificate says how far it came."""
    half = certificate(one_test(steps=2))
    assert half.verdict is Verdict.NOT_DECIDED
    text = "fibre is not tested to the end: 2 of 11 steps are done, and next is the step 'gateway'.\n"
    assert render_text(half).startswith(text)


def test_the_text_says_why_each_item_did_not_pass() -> None:
    """Limit, source and what it was at first."""
    text = render_text(certificate(one_test(), later()))
    assert text.startswith("fibre did not pass: 1 of 23 items failed, and 4 could not be decided.\n")
    assert "FAIL         Speed down: 212.7 Mbit/s, 23% of the handoff  worse than at first\n" in text
    assert "3 of 3 tests fell below it, held up by the line. Limit: at least 450 Mbit/s in 95% of" in text
    assert "At first: 870.4 Mbit/s, 92% of the handoff." in text


def test_what_stands_behind_a_resolvers_host_is_not_handed_on() -> None:
    """Of a URL a path may be somebody's key, and a certificate is for strangers."""
    found = certificate(one_test(resolver="https://192.0.2.53/a-key-of-ours#dns.example.net"))
    for told in (render_html(found), render_json(found), render_text(found)):
        assert "https://192.0.2.53" in told
        assert "a-key-of-ours" not in told


def test_a_terminal_that_saw_every_item_gets_only_what_did_not_pass() -> None:
    """The rest has just gone by."""
    text = render_brief(certificate(one_test(), later()))
    assert "pass  " not in text.replace("pass         Light at the terminal", "")  # it passes, and is worse
    assert "Speed down: 212.7 Mbit/s" in text


def test_the_page_is_whole_and_harmless() -> None:
    """It loads nothing, whatever names say; the same certificate gives the same bytes."""
    given = replace(GIVEN, circuit=NASTY, cable=NASTY, photographs=(Photograph(NASTY, 3, "00" * 32),))
    found = certificate(one_test(given, resolver=NASTY, left=True), later(given))
    found = replace(found, site=NASTY, uplink=NASTY, contract=Contract(provider=NASTY, reference=NASTY))
    page = render_html(found)
    assert page == render_html(found)
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert "http://" not in page
    assert "https://" not in page
    assert "Content-Security-Policy" in page


@pytest.mark.parametrize(
    "words",
    [
        "left after 2 November 2026, 09:15:00 +00:00, taken up again 2 November 2026, 09:20:00 +00:00",
        "after the step &#39;idle delay&#39;",
        "never look into a fibre", "the light is invisible", "shards", "trained and licensed", "Local codes",
        "alarm lines", "emergency calls", "Signature", "2\u202f481\u202f330", "3f3f", "ITU-T G.984.2", "RFC 1191",
        "within 4.20 ms of UTC",
    ],
)  # fmt: skip
def test_the_page_has_breaks_cautions_evidence_and_room_for_signatures(words: str) -> None:
    """All that a certificate is for."""
    assert words.lower() in render_html(certificate(one_test(left=True))).lower()


@pytest.mark.parametrize("paper", PAPERS)
def test_the_certificate_prints_with_its_answer_first_and_nothing_cut_off(paper: str) -> None:
    """On A4 and on Letter, by the words of the PDF."""
    sheets = printed("pdftotext", to_pdf(render_html(certificate(one_test(), later())), paper)).split("\f")[:-1]
    assert len(sheets) <= 5
    assert "fibre did not pass" in " ".join(sheets[0].split())
    for number, sheet in enumerate(sheets, 1):
        assert f"{number} of {len(sheets)}" in sheet


def test_the_command_writes_every_form_and_returns_the_verdict(tmp_path: Path) -> None:
    """To a file, or to standard output."""
    for form, words in (("text", "fibre did not pass"), ("html", "<!DOCTYPE html>"), ("json", '"verdict": "fail"')):
        out = tmp_path / form
        verdict = certificate_command(record(one_test(), later()), SUBJECT, "fibre", form=form, out=out)
        assert verdict is Verdict.FAIL
        assert words in out.read_text("utf-8")


def test_all_steps_of_the_invented_test_are_done() -> None:
    """Else the tests above would look at half of a certificate."""
    assert [step for step, _ in one_test().done] == list(Step)
