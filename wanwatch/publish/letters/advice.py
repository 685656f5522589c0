"""What to do about trouble, as the first things that somebody who knows lines would look at.

Source: common practice, no published source; the cautions are those of the README.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from wanwatch.core.incident import Sign
from wanwatch.core.model import SWITCHES, Domain, Event, EventKind
from wanwatch.core.notices import Case

BY_SIGN: Final[tuple[tuple[Sign, str], ...]] = (
    (Sign.STUCK, "Move traffic by hand at the gateway: it stays on a dead line, although another one is up."),
    (Sign.NEEDLESS, "Ask whoever looks after the gateway why traffic left a line that was up."),
    (Sign.AGAIN_AND_AGAIN, "A line that comes and goes is often a loose plug or a failing device: look at its lamps."),
)
BY_DOMAIN: Final[Mapping[Domain, str]] = {
    Domain.OUR_SIDE: "Look at this machine's own cable, port and address: the trouble is on our own side.",
    Domain.GATEWAY: "Look at the gateway: has it power, and does it answer in the office's own network?",
    Domain.ACCESS_LINE: (
        "Look at the lamps of the line's modem or terminal. Touch no fibre end, and never look into one."
    ),
    Domain.PROVIDER: "The line itself answers, so there is nothing to mend here: it is the provider's network.",
    Domain.FAR_END: "The line carries, and only what is asked through it is silent: nothing to mend here.",
    Domain.NAMES: "Addresses answer and names do not: until it is mended, another resolver may do.",
}
PROVIDERS: Final = frozenset({Domain.ACCESS_LINE, Domain.PROVIDER})
"""Where the provider has to mend it."""
CUT_OFF: Final = (
    "While no line carries, calls over the internet, alarm lines and lift telephones may be dead: have a mobile phone "
    "at hand by which help can be called."
)
AT_ONCE: Final = "What fails at once has something in common: look at the power, the gateway and the cabinet first."
PIN_LOST: Final = (
    "Mend what leads this line's probes over it: `wanwatch check --live` shows which way they take. Until then nobody "
    "knows how the line is."
)
NOTHING: Final = "Nothing has to be done at once."


def advice(case: Case, providers: Mapping[str, str], *, over: bool) -> list[str]:
    """Return what to do, a sentence or two each; never nothing.

    Args:
        case: What it is about.
        providers: By uplink, whom to tell, such as `Example Fibre, reference EX-0001`.
        over: Whether it is told as over.
    """
    return [NOTHING] if over else list(dict.fromkeys(_advice(case, providers))) or [NOTHING]


def _advice(case: Case, providers: Mapping[str, str]) -> Iterator[str]:
    lasting = [event for event in case.events if event.end is None]
    if _dark(case.events, lasting):
        yield CUT_OFF
    if any("at_once" in event.detail for event in lasting):
        yield AT_ONCE
    yield from (text for sign, text in BY_SIGN if sign in case.incident.signs)
    for event in lasting:
        if event.domain is not None:
            yield BY_DOMAIN[event.domain]
        if event.domain in PROVIDERS and (provider := providers.get(event.uplink or "")):
            yield f"Then tell {provider}."
        if event.kind is EventKind.PIN_LOST:
            yield PIN_LOST


def _dark(events: Sequence[Event], lasting: Sequence[Event]) -> bool:
    """Whether it is likely that no line carries: traffic was seen to go nowhere, or several lines are down."""
    switches = [event for event in events if event.kind in SWITCHES]
    down = {event.uplink for event in lasting if event.kind is EventKind.OUTAGE}
    return len(down) > 1 or (bool(switches) and switches[-1].kind is EventKind.BLACKOUT)
