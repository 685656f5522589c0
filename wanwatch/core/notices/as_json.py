"""Notices and letters as JSON objects: the form in which the record keeps them."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any, cast

from wanwatch.core.incident import Sign
from wanwatch.core.model import Json
from wanwatch.core.notices.letter import Attachment, Letter
from wanwatch.core.notices.notice import Kind, Notice


def notice_to_json(notice: Notice) -> dict[str, Json]:
    """Return the notice as a JSON object."""
    return {
        "site": notice.site,
        "to": notice.to,
        "kind": notice.kind.value,
        "about": notice.about,
        "count": notice.count,
        "made_unix_ns": notice.made_unix_ns,
        "lines": [*notice.lines],
        "signs": [sign.value for sign in notice.signs],
        "also": [*notice.also],
        "parts": [notice_to_json(part) for part in notice.parts],
    }


def notice_from_json(given: Mapping[str, Any]) -> Notice:
    """Return the notice that `notice_to_json` made *given* of."""
    return Notice(
        given["site"],
        given["to"],
        Kind(given["kind"]),
        given["about"],
        given["count"],
        given["made_unix_ns"],
        lines=tuple(given["lines"]),
        signs=tuple(map(Sign, given["signs"])),
        also=tuple(given["also"]),
        parts=tuple(map(notice_from_json, given["parts"])),
    )


def letter_to_json(letter: Letter) -> dict[str, Json]:
    """Return the letter as a JSON object, without its address and id, which stand beside it."""
    attached = None if letter.attachment is None else cast("dict[str, Json]", asdict(letter.attachment))
    return {"subject": letter.subject, "text": letter.text, "facts": dict(letter.facts), "attachment": attached}


def letter_from_json(notice: Notice, given: Mapping[str, Any]) -> Letter:
    """Return the letter of *notice* that `letter_to_json` made *given* of."""
    attached = None if given["attachment"] is None else Attachment(**given["attachment"])
    return Letter(
        notice.id, notice.to, subject=given["subject"], text=given["text"], facts=given["facts"], attachment=attached
    )
