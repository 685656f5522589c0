"""The roads: the office as the servers meet it. Each packet's fate is asked here, by its source address."""

import asyncio
from collections.abc import Callable
from typing import Final

from wanwatch.demo.office import Chance, Scene, fate

# A lost TCP segment is sent again: Linux waits at least 200 ms (TCP_RTO_MIN), whatever RFC 6298 would rather have.
_SENT_AGAIN_AFTER_S: Final = 0.2
_SENT_AGAIN_TIMES: Final = 25


class Roads:
    """Holds the scene that is true now.

    Args:
        scene: What is true at first.
        chance: Where chance comes from.
    """

    def __init__(self, scene: Scene, chance: Chance) -> None:
        self._scene, self._chance = scene, chance
        self._watchers: list[Callable[[Scene], None]] = []

    @property
    def scene(self) -> Scene:
        """What is true now."""
        return self._scene

    def watch(self, watcher: Callable[[Scene], None]) -> None:
        """Call *watcher* with the scene, now and whenever it changes."""
        self._watchers.append(watcher)
        watcher(self._scene)

    def change(self, scene: Scene) -> None:
        """Make *scene* the truth. Answers that are under way still arrive: they are beyond the break."""
        self._scene = scene
        for watcher in self._watchers:
            watcher(scene)

    def fate(self, source: str) -> float | None:
        """Decide what becomes of one packet from *source*: its delay in seconds, or None if it is lost."""
        return fate(self._scene, source, self._chance)

    async def deliver(self, source: str) -> bool:
        """Wait as long as one exchange over TCP with *source* takes; False if it came to nothing."""
        for _ in range(_SENT_AGAIN_TIMES):
            delay_s = self.fate(source)
            if delay_s is not None:
                await asyncio.sleep(delay_s)
                return True
            await asyncio.sleep(_SENT_AGAIN_AFTER_S)
        return False
