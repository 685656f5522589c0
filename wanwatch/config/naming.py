"""Names that tables of the file give and use, judged on the document itself: a spoilt table still has its name."""

from collections.abc import Iterator, Mapping
from typing import Any

from wanwatch.config.mistakes import Loc, Mistake, did_you_mean, path_of, show
from wanwatch.config.together import Found, one_or_many, say, tables


def check(document: Mapping[str, Any]) -> Iterator[Found]:
    """Give the mistakes of names that are given twice, and of names that nothing has."""
    for key in ("uplink", "target"):
        yield from _twice(document, key)
    uplinks, targets = _names(document, "uplink"), _names(document, "target")
    for loc, target in tables(document, "target"):
        named = target.get("uplinks")
        for index, name in enumerate(named if isinstance(named, list) else ()):
            yield from _known((*loc, "uplinks", index), name, "uplink", uplinks)
    for loc, uplink in tables(document, "uplink"):
        for of, contract in one_or_many(uplink, "contract"):
            yield from _contract((*loc, *of), contract, targets)


def _names(document: Mapping[str, Any], key: str) -> list[str]:
    return [row["name"] for _, row in tables(document, key) if isinstance(row.get("name"), str)]


def _twice(document: Mapping[str, Any], key: str) -> Iterator[Found]:
    seen: set[str] = set()
    for loc, row in tables(document, key):
        name = row.get("name")
        if isinstance(name, str):
            if name in seen:
                place = (*loc, "name")
                reason = f"there is another {key} of this name"
                yield place, Mistake(path_of(place), show(place, name), reason, "give each its own name")
            seen.add(name)


def _known(loc: Loc, name: object, key: str, known: list[str]) -> Iterator[Found]:
    if isinstance(name, str) and name not in known:
        yield loc, Mistake(path_of(loc), show(loc, name), f"there is no such {key}", did_you_mean(name, known))


def _contract(loc: Loc, contract: Mapping[str, Any], targets: list[str]) -> Iterator[Found]:
    clauses = list(tables(contract, "clause"))
    for below, clause in clauses:
        yield from _known((*loc, *below, "target"), clause.get("target"), "target", targets)
    if contract.get("credit") and not any(clause.get("measure") == "availability" for _, clause in clauses):
        reason = "credit is owed for availability, and no clause promises any"
        yield say((*loc, "credit"), reason, "write that clause, or leave credit out")
