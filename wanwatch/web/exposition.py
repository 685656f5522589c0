"""Exposition: the metrics as text, made on another thread so that a scrape holds nothing up.

Sources:  Prometheus text format 0.0.4 and OpenMetrics 1.0, by content negotiation; RFC 9110 sections 12.5.1 and 12.5.3
          (Accept, Accept-Encoding); RFC 1952 (gzip).
"""

import asyncio
import gc
import gzip
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final

from aiohttp import web
from prometheus_client import CollectorRegistry
from prometheus_client.exposition import choose_encoder
from prometheus_client.metrics_core import Metric
from prometheus_client.registry import Collector
from prometheus_client.samples import Sample

_LEVEL: Final = 1
"""The quickest: it makes a twentieth of the text, and the best level would save little more at many times the work."""

SWITCH_S: Final = 0.001
"""How long the loop waits at most for its turn; Python's own 5 ms is as much as a send may be late."""


class Exposition:
    """What /metrics answers.

    Args:
        registry: The metrics.
    """

    def __init__(self, registry: CollectorRegistry) -> None:
        self._registry = registry
        # However many ask at once, one core at most is kept busy.
        self._one_at_a_time = asyncio.Lock()

    async def answer(self, request: web.Request) -> web.Response:
        """Answer a scrape, in the format that it asks for, compressed if it may be."""
        encode, content_type = _encoder(request.headers.get("Accept", ""))
        zipped = _takes_gzip(request.headers.get("Accept-Encoding", ""))
        async with self._one_at_a_time:
            body = await asyncio.to_thread(_render, encode, self._registry, zipped=zipped)
        headers = {"Content-Type": content_type, "Vary": "Accept, Accept-Encoding"}
        return web.Response(body=body, headers=headers | ({"Content-Encoding": "gzip"} if zipped else {}))


class _Drained(Collector):
    """The metrics, each sample let go as soon as it is written: to free all of a large family takes 5 ms in one go."""

    def __init__(self, registry: CollectorRegistry) -> None:
        self._registry = registry

    def collect(self) -> Iterator[Metric]:
        """Yield each family, made for this very text."""
        for family in self._registry.collect():
            left = family.samples
            left.reverse()
            family.samples = _popped(left)  # type: ignore[assignment]  # encoders go through it once
            yield family


def _popped(left: list[Sample]) -> Iterator[Sample]:
    while left:
        yield left.pop()


def _encoder(accept: str) -> tuple[Callable[[Collector], bytes], str]:
    try:
        return choose_encoder(accept)
    except TypeError:  # a version that is no number, such as 1.0.0-rc: the library compares it with one
        return choose_encoder("")


def _render(encode: Callable[[Collector], bytes], registry: CollectorRegistry, *, zipped: bool) -> bytes:
    with _out_of_the_way():
        text = encode(_Drained(registry))
    return gzip.compress(text, _LEVEL, mtime=0) if zipped else text


@contextmanager
def _out_of_the_way() -> Iterator[None]:
    """Let the event loop have its turn at once while this thread reckons.

    A text is made of very many small tuples that live for a moment and hold no cycles. To the collector they look like
    growth, and it would walk the whole heap, beside which no other thread can run.
    """
    usual_s = sys.getswitchinterval()
    sys.setswitchinterval(SWITCH_S)
    gc.disable()
    try:
        yield
    finally:
        gc.enable()
        sys.setswitchinterval(usual_s)


def _takes_gzip(accept: str) -> bool:
    for written in accept.split(","):
        coding, *weights = (part.strip().lower() for part in written.split(";"))
        if coding in {"gzip", "*"}:
            return not any(weight.replace(" ", "") in {"q=0", "q=0.0", "q=0.00", "q=0.000"} for weight in weights)
    return False
