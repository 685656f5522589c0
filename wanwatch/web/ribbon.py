"""Ribbon: the states of a day, drawn as one strip, with the same in words beside it."""

from collections.abc import Iterator, Sequence
from typing import Final

from markupsafe import Markup

from wanwatch.core.account.timeline import Stretch
from wanwatch.core.lengths import duration
from wanwatch.core.model import NS_PER_S, Span, State

_WIDTH: Final = 1440
_HEIGHT: Final = 24
_LEAST: Final = 8.0
"""An outage of seconds has to be seen, on a phone as well, so nothing bad is drawn narrower."""
_ORDER: Final = (State.UNOBSERVED, State.UP, State.IMPAIRED, State.DOWN)
_STRIPED: Final = frozenset({State.IMPAIRED, State.UNOBSERVED})
_STRIPES: Final = Markup(
    '<defs><pattern id="{0}-stripes" class="{0}" width="8" height="8" patternUnits="userSpaceOnUse" '
    'patternTransform="rotate({1})"><rect width="8" height="8"/><path d="M0 0V8" stroke-width="4"/></pattern></defs>'
)
PATTERNS: Final = _STRIPES.format("impaired", 45) + _STRIPES.format("unobserved", 135)
"""States differ by lightness and stripes as well as by hue; these stand once in a page."""


def ribbon(stretches: Sequence[Stretch], day: Span) -> Markup:
    """Return a strip of *day* as SVG; it is told in words beside, so it is hidden from readers aloud."""
    scale = _WIDTH / (day.length_ns or 1)
    drawn = Markup("").join(
        _part(stretch, (stretch.span.start_unix_ns - day.start_unix_ns) * scale, stretch.span.length_ns * scale)
        for state in _ORDER  # the worse one is drawn over the better one
        for stretch in stretches
        if stretch.state is state
    )
    frame = 'class="ribbon" viewBox="0 0 {} {}" preserveAspectRatio="none" aria-hidden="true" focusable="false"'
    return Markup("<svg " + frame + ">{}</svg>").format(_WIDTH, _HEIGHT, drawn)  # noqa: S704 - our own text


def in_words(stretches: Sequence[Stretch]) -> str:
    """Say how long each state held: `up 23 h 50 min, down 10 min 00 s`."""
    return ", ".join(_lengths(stretches)) or "nothing is known"


def _lengths(stretches: Sequence[Stretch]) -> Iterator[str]:
    for state in State:
        length_ns = sum(stretch.span.length_ns for stretch in stretches if stretch.state is state)
        if length_ns:
            yield f"{state.value} {duration(length_ns / NS_PER_S)}"


def _part(stretch: Stretch, left: float, width: float) -> Markup:
    state = stretch.state.value
    if stretch.state in {State.IMPAIRED, State.DOWN}:
        width = max(width, _LEAST)
    left = min(left, _WIDTH - width)
    fill = Markup(' fill="url(#{}-stripes)"').format(state) if stretch.state in _STRIPED else ""
    return Markup('<rect class="{}" x="{}" width="{}" height="{}"{}/>').format(
        state, f"{left:.2f}", f"{width:.2f}", _HEIGHT, fill
    )
