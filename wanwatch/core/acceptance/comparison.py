"""Comparison: a later test beside the first one, and what has become worse since."""

from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple

from wanwatch.core.acceptance.items import About, Item, Verdict


class Slack(NamedTuple):
    """How far two figures may lie apart before the later one is called worse: common practice, no published source.

    Attributes:
        upward: Whether more is worse.
        share: Part of the first figure.
        least: In the figure's own unit; the larger of both counts.
    """

    upward: bool
    share: float
    least: float = 0.0


SLACKS: Final[Mapping[About, Slack]] = {
    About.PORT: Slack(upward=False, share=0),
    About.MTU: Slack(upward=False, share=0),
    About.DELAY: Slack(upward=True, share=0.25, least=0.001),
    About.LOSS: Slack(upward=True, share=1, least=0.001),
    About.SPEED_DOWN: Slack(upward=False, share=0.1),
    About.SPEED_UP: Slack(upward=False, share=0.1),
    About.LOAD_DOWN: Slack(upward=True, share=0.5, least=0.01),
    About.LOAD_UP: Slack(upward=True, share=0.5, least=0.01),
    About.FAILOVER: Slack(upward=True, share=0.5, least=5),
    About.LIGHT: Slack(upward=False, share=0, least=1),
    About.BEND_RADIUS: Slack(upward=False, share=0),
}
"""What is compared by figure; a light level by 1 dB."""


class Compared(NamedTuple):
    """An item beside the same one of the first test; one of both is None where it was not looked at."""

    first: Item | None
    now: Item | None

    @property
    def worse(self) -> bool:
        """Whether it fails and did not before, or its figure is worse by more than its slack."""
        if self.first is None or self.now is None:
            return False
        if self.now.verdict is Verdict.FAIL and self.first.verdict is not Verdict.FAIL:
            return True
        slack = SLACKS.get(self.now.about)
        if slack is None or self.first.figure is None or self.now.figure is None:
            return False
        grown = self.now.figure - self.first.figure
        allowed = max(slack.least, slack.share * abs(self.first.figure))
        return (grown if slack.upward else -grown) > allowed


def compare(first: Sequence[Item], now: Sequence[Item]) -> list[Compared]:
    """Return both tests side by side, in the order of *now*, and last what only the first one looked at."""
    before = {item.key: item for item in first}
    paired = [Compared(before.pop(item.key, None), item) for item in now]
    return paired + [Compared(item, None) for item in before.values()]
