"""Keys that only go together, judged on the document itself so that a bad value beside them hides nothing."""

from collections.abc import Iterator, Mapping
from typing import Any, Final, TypeAlias

from wanwatch.config.mistakes import Loc, Mistake, path_of

Found: TypeAlias = tuple[Loc, Mistake]

WAYS_TO_ASK: Final = ("echo", "stamp", "tcp", "http", "https", "dns")
WAYS_TO_PIN: Final = ("interface", "source", "mark", "dscp", "targets")


def check(document: Mapping[str, Any]) -> list[Found]:
    """Return the mistakes of keys that lack, or exclude, each other."""
    found: list[Found] = []
    for loc, table in tables(document, "target"):
        found += _target(loc, table)
    for loc, table in tables(document, "uplink"):
        found += _pin((*loc, "pin"), table.get("pin"))
        if isinstance(counters := table.get("counters"), dict):
            found += _counters((*loc, "counters"), counters)
        for of, contract in one_or_many(table, "contract"):
            for below, clause in tables(contract, "clause"):
                found += _speed_clause((*loc, *of, *below), clause)
    for loc, table in tables(document, "remote_write"):
        found += _remote_write(loc, table)
    for key, rule in {"names": _names, "carrying": _carrying, "speed": _speed, "listen": _listen}.items():
        if isinstance(alone := document.get(key), dict):
            found += rule(alone)
    return found


def tables(table: Mapping[str, Any], key: str) -> Iterator[tuple[Loc, dict[str, Any]]]:
    """Give each table of the list under *key*; what is no table is another round's mistake."""
    rows = table.get(key)
    for index, row in enumerate(rows if isinstance(rows, list) else ()):
        if isinstance(row, dict):
            yield (key, index), row


def one_or_many(table: Mapping[str, Any], key: str) -> Iterator[tuple[Loc, dict[str, Any]]]:
    """Give the same where a single table may stand for a list of one."""
    if isinstance(alone := table.get(key), dict):
        yield (key,), alone
    yield from tables(table, key)


def _target(loc: Loc, table: Mapping[str, Any]) -> Iterator[Found]:
    given = [way for way in WAYS_TO_ASK if way in table]
    if not given:
        yield say(loc, "it does not say how to ask", f"write one of {', '.join(WAYS_TO_ASK)}")
    if len(given) > 1:
        yield say(loc, f"it says {' and '.join(given)}", "keep one, and make a target of each other")
    if "stamp_key_file" in table and "stamp" not in given:
        yield say(
            (*loc, "stamp_key_file"), "only a stamp target has a key", "leave it out, or write stamp = an address"
        )
    if "dns" in given and "ask" not in table:
        yield say((*loc, "ask"), "this key is missing", "write the name to ask this server for")
    if "ask" in table and "dns" not in given:
        yield say(
            (*loc, "ask"), "only a dns target asks for a name", "leave it out, or write dns = the server's address"
        )
    for key in ("expect", "family"):
        if key in table and given and not {"http", "https"}.intersection(given):
            yield say((*loc, key), "only an http or https target has it", "leave it out, or write a URL")


def _pin(loc: Loc, pin: object) -> Iterator[Found]:
    if not isinstance(pin, dict):
        return
    given = [way for way in WAYS_TO_PIN if way in pin and pin[way] is not False]
    if not given:
        yield say(loc, "it pins nothing", f"write one of {', '.join(WAYS_TO_PIN)}")
    if pin.get("targets") is True and len(given) > 1:
        yield say(loc, "targets = true stands alone: the gateway does the pinning", "keep one kind of pin")


def _counters(loc: Loc, counters: Mapping[str, Any]) -> Iterator[Found]:
    given = [key for key in ("community_file", "user") if key in counters]
    if len(given) != 1:
        reason = "it says community_file and user at once" if given else "it does not say who asks"
        yield say(loc, reason, "write community_file for SNMPv2c, or user and password_file for SNMPv3")
    if "user" in counters and "password_file" not in counters:
        yield say((*loc, "password_file"), "this key is missing", "write it beside user")
    for key in ("password_file", "privacy_file", "digest"):
        if key in counters and "user" not in counters:
            yield say((*loc, key), "only SNMPv3 has it", "leave it out, or write user")


def _names(names: Mapping[str, Any]) -> Iterator[Found]:
    for key, other in (("signed", "broken"), ("broken", "signed")):
        if key in names and other not in names:
            yield say(("names", other), "this key is missing", f"write it beside {key}, or leave out both")


def _carrying(carrying: Mapping[str, Any]) -> Iterator[Found]:
    if "address_token_file" in carrying and "address_url" not in carrying:
        yield say(("carrying", "address_url"), "this key is missing", "write it beside address_token_file")


def _listen(listen: Mapping[str, Any]) -> Iterator[Found]:
    if "key_file" in listen and "certificate_file" not in listen:
        yield say(("listen", "certificate_file"), "this key is missing", "write it beside key_file")


def _speed_clause(loc: Loc, clause: Mapping[str, Any]) -> Iterator[Found]:
    # Held against a tuple, as the value may be a list and no set takes one.
    if clause.get("measure") not in ("speed-down", "speed-up"):
        return
    given = [key for key in ("floor", "usual", "peak") if key in clause]
    if len(given) > 1:
        yield say(loc, f"it promises {' and '.join(given)} at once", "make a clause of each")
    elif not given or (given == ["usual"] and "share" not in clause):
        yield say(loc, "it has no limit", "write floor, or peak, or usual and share")


def _remote_write(loc: Loc, table: Mapping[str, Any]) -> Iterator[Found]:
    for key, other in (("user", "password_file"), ("password_file", "user")):
        if key in table and other not in table:
            yield say((*loc, other), "this key is missing", f"write it beside {key}, or leave out both")
    if "bearer_token_file" in table and "user" in table:
        yield say(loc, "it says bearer_token_file as well as user", "keep the one that the receiver asks for")


def _speed(speed: Mapping[str, Any]) -> Iterator[Found]:
    ways = [key for key in ("down", "up") if key in speed]
    if "server" in speed and ways:
        yield say(("speed",), "it says server as well as down or up", "keep the server, or the pair of URLs")
    elif "server" not in speed and len(ways) != 2:  # noqa: PLR2004 - both of them
        yield say(("speed",), "it does not say what to test against", "write server, or down and up")


def say(loc: Loc, reason: str, mend: str) -> Found:
    """Make the mistake of the table or the missing key at *loc*, which shows no value."""
    return loc, Mistake(path_of(loc), None, reason, mend)
