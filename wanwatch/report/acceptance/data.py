"""The certificate as JSON for programs, and as text for a terminal; the same bytes for the same certificate."""

import json
import textwrap
from collections.abc import Iterator, Sequence

from wanwatch.core.acceptance import Compared, Item, Progress, Verdict
from wanwatch.core.instants import instant_text
from wanwatch.core.model import Json
from wanwatch.report.acceptance.story import headline
from wanwatch.report.acceptance.values import Certificate

_WIDE = 100
_MARKS = {Verdict.PASS: "pass", Verdict.FAIL: "FAIL", Verdict.NOT_DECIDED: "not decided"}
_MARK = max(map(len, _MARKS.values()))


def render_json(certificate: Certificate) -> str:
    """Return the certificate as JSON, one object."""
    return json.dumps(to_json(certificate), indent=2, ensure_ascii=False) + "\n"


def to_json(certificate: Certificate) -> dict[str, Json]:
    """Return the certificate as JSON values."""
    kept, first = certificate.test.to_json(), certificate.first
    contract = certificate.contract
    return {
        "site": certificate.site,
        "uplink": certificate.uplink,
        "provider": contract.provider if contract else None,
        "reference": contract.reference if contract else None,
        "circuit": certificate.test.handover.circuit,
        "started": kept["started"],
        "ended": kept["kept"],
        "finished": kept["finished"],
        "verdict": certificate.verdict.value,
        "items": [_item(pair) for pair in certificate.compared if pair.now is not None],
        "handover": kept["handover"],
        "interruptions": kept["interruptions"],
        "amount": certificate.amount,
        "clock": certificate.clock,
        "first": _times(first) if first else None,
    }


def _times(test: Progress) -> Json:
    return {"started": instant_text(test.started_unix_ns), "ended": instant_text(test.kept_unix_ns)}


def _item(pair: Compared) -> Json:
    assert pair.now is not None  # noqa: S101 - its caller has looked
    return {**pair.now.to_json(), "first": _before(pair.first) if pair.first else None, "worse": pair.worse}


def _before(item: Item) -> Json:
    return {"verdict": item.verdict.value, "value": item.value, "figure": item.figure}


def render_text(certificate: Certificate) -> str:
    """Return the certificate as text: a line for each item, with what it was held to below where it did not pass."""
    return _text(certificate, certificate.compared)


def render_brief(certificate: Certificate) -> str:
    """Return the same of what did not pass, or became worse, only."""
    noted = [pair for pair in certificate.compared if pair.now and (pair.now.verdict is not Verdict.PASS or pair.worse)]
    return _text(certificate, noted)


def _text(certificate: Certificate, pairs: Sequence[Compared]) -> str:
    lines = [line for pair in pairs if pair.now is not None for line in _lines(pair, pair.now)]
    return "\n".join(["", headline(certificate), "", *lines]).strip("\n") + "\n"


def _lines(pair: Compared, item: Item) -> Iterator[str]:
    worse = "  worse than at first" if pair.worse else ""
    yield f"{_MARKS[item.verdict]:<{_MARK}}  {_name(item)}: {item.value}{worse}"
    if item.verdict is not Verdict.PASS or pair.worse:
        held = f"Limit: {item.limit} ({item.source})." if item.limit and item.source else ""
        before = f"At first: {pair.first.value}." if pair.worse and pair.first else ""
        indent = " " * (_MARK + 2)
        said = " ".join(filter(None, [item.reason, held, before]))
        yield from textwrap.wrap(said, _WIDE, initial_indent=indent, subsequent_indent=indent)


def _name(item: Item) -> str:
    return f"{item.title} ({item.of})" if item.of else item.title
