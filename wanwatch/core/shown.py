"""What of an address may leave the house: of a URL its host only, since its path or query may be somebody's key."""

from collections.abc import Mapping
from dataclasses import replace
from urllib.parse import urlsplit

from wanwatch.core.model import Event, Json


def shown(text: str) -> str:
    """Return *text*, of a URL only its scheme and host, and its port if it names one."""
    if "://" not in text:
        return text
    try:
        parts = urlsplit(text)
        port = "" if parts.port is None else f":{parts.port}"
    except ValueError:
        return "a URL"
    host = parts.hostname or ""
    return f"{parts.scheme}://{f'[{host}]' if ':' in host else host}{port}"


def shown_event(event: Event) -> Event:
    """Return *event* with every text of its detail as it may be shown."""
    return replace(event, detail=_every(event.detail))


def _every(detail: Mapping[str, Json]) -> dict[str, Json]:
    return {key: _shown(value) for key, value in detail.items()}


def _shown(value: Json) -> Json:
    match value:
        case str():
            return shown(value)
        case list():
            return [_shown(part) for part in value]
        case dict():
            return dict(_every(value))
        case _:
            return value
