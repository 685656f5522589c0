"""Evidence: the facts that are stored with an event, as short lines of text."""

from collections.abc import Iterator, Mapping

from wanwatch.core.model import Event, Json


def evidence(event: Event) -> list[str]:
    """Return the facts of an event's detail, one a line, in their stored order."""
    return [line for key, value in event.detail.items() for line in _lines(key, value)]


def _lines(key: str, value: Json) -> Iterator[str]:
    """A mapping or a list of facts gives one line each; a plain value gives one."""
    label = key.replace("_", " ")
    if isinstance(value, Mapping):
        for inner, fact in value.items():
            yield from _lines(f"{label}: {inner}", fact)
    elif isinstance(value, list) and any(isinstance(part, dict) for part in value):
        for part in value:
            yield _fact(part)
    else:
        yield f"{label}: {_fact(value)}"


def _fact(value: Json) -> str:
    match value:
        case None:
            return "not known"
        case bool():
            return "yes" if value else "no"
        case list():
            return ", ".join(_fact(part) for part in value) or "none"
        case dict():
            return ", ".join(f"{key.replace('_', ' ')} {_fact(part)}" for key, part in value.items())
        case float():
            return f"{value:.6g}"
        case _:
            return str(value)
