"""How the lines stand at this moment: states, who carries, which pins are proved.

They are read off the last word when somebody asks, so a scrape on another thread sees a change whole or not at all.
"""

from collections.abc import Iterator

from prometheus_client.core import GaugeMetricFamily
from prometheus_client.registry import Collector

from wanwatch.core.model import CarryingChanged, State


class StandingFigures(Collector):
    """What holds now, as three metrics.

    Args:
        site: The site's name, a label of each.

    Attributes:
        states: Each uplink's state; an uplink that is not in it is not shown.
        pins: Whether each uplink's pin is proved; one of which nothing tells is not in it.
        carrying: The last word on who carries.
    """

    def __init__(self, site: str) -> None:
        self.states: dict[str, State] = {}
        self.pins: dict[str, bool] = {}
        self.carrying = CarryingChanged(None, known=False)
        self._site = site

    def forget(self, uplink: str) -> None:
        """Show nothing of *uplink* any longer."""
        self.states.pop(uplink, None)
        self.pins.pop(uplink, None)

    def describe(self) -> Iterator[GaugeMetricFamily]:
        """Yield the metrics without a figure: their names, for the registry."""
        yield from self._families()

    def collect(self) -> Iterator[GaugeMetricFamily]:
        """Yield the metrics as they stand; what nobody can tell is absent rather than wrong."""
        state, carrying, pin = self._families()
        states, carried = self.states.copy(), self.carrying
        for name, holds in states.items():
            for one in State:
                state.add_metric((self._site, name, one.value), one is holds)
            if carried.known:
                carrying.add_metric((self._site, name), name in carried.carriers)
        for name, proved in self.pins.copy().items():
            pin.add_metric((self._site, name), proved)
        yield from (state, carrying, pin)

    def _families(self) -> tuple[GaugeMetricFamily, GaugeMetricFamily, GaugeMetricFamily]:
        uplink = ("site", "uplink")
        return (
            GaugeMetricFamily(
                "wanwatch_uplink_state", "1 for the state that the uplink is in, 0 for the other three.",
                labels=(*uplink, "state"),
            ),
            GaugeMetricFamily(
                "wanwatch_uplink_carrying", "1 for each uplink that unpinned traffic takes now; absent while unknown.",
                labels=uplink,
            ),
            GaugeMetricFamily(
                "wanwatch_pin_proved",
                "1 if pinned probes are proved to leave by this uplink, 0 if not; absent while nothing tells.",
                labels=uplink,
            ),
        )  # fmt: skip
