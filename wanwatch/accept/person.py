"""The person at the terminal: asked for what was not handed over, and for a yes before anybody is cut off."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from wanwatch.config.handover import HandoverError, read_handover
from wanwatch.core.acceptance import Handover
from wanwatch.core.acceptance.handover import MEDIA
from wanwatch.core.account.light import CLASSES

Ask = Callable[[str], str | None]
"""Puts a question and returns the answer, None where there will be no more answers."""

_YES: Final = frozenset({"yes", "y"})
_OWN: Final = {
    "port_rate": "port_bps", "light_level": "light_dbm", "wavelength": "wavelength_nm",
    "level_before": "entering_dbm", "length": "length_m", "bend_radius": "bend_radius_mm",
}  # fmt: skip
"""Keys of the file whose values have another name."""

QUESTIONS: Final[Mapping[str, tuple[str, bool]]] = {
    "medium": (f"What is the line made of: {', '.join(MEDIA)}?", False),
    "circuit": ("Circuit reference, as the provider knows it?", False),
    "public_address": ("Does the contract have a public IPv4 address of its own (yes or no)?", False),
    "port_rate": ("Rate of the handoff port, read off the device, such as 1Gbps?", False),
    "duplex": ("Its duplex, full or half?", False),
    "light_level": ("Light level at the terminal, such as -18.4dBm?", True),
    "wavelength": ("Wavelength that the meter was set to, such as 1490nm?", True),
    "light_class": (f"Class of the optical network: {', '.join(CLASSES)}?", True),
    "level_before": ("Light level where the drop begins, if it was measured?", True),
    "length": ("Length of the cable, such as 350m?", False),
    "splices": ("Splices on it?", True),
    "connectors": ("Mated pairs of connectors on it?", True),
    "split": ("Ways that the splitters split into, such as 32, or 1 for none?", True),
    "cable": ("Type of the cable, such as G.657.A2?", False),
    "bend_radius": ("The tightest bend, such as 15mm?", True),
    "photographs": ("File names of photographs, with commas between them?", False),
}
"""What is asked for each key, and whether it is about light."""
_NUMBERS: Final = frozenset({"splices", "connectors", "split"})


class Person:
    """Somebody at a terminal, or nobody.

    Args:
        ask: Puts a question; None where nobody is there.
        say: Says something.
    """

    def __init__(self, ask: Ask | None, say: Callable[[str], None]) -> None:
        self._ask, self._say = ask, say

    @property
    def here(self) -> bool:
        """Whether somebody is there."""
        return self._ask is not None

    def handover(self, given: Handover) -> Handover:
        """Ask for whatever is missing, and return all of it; as it is where nobody is there."""
        said = False
        for key, (question, about_light) in QUESTIONS.items():
            if self._ask is None or _known(given, key) or (about_light and not given.optical):
                continue
            if not said:
                self._say("What did the installer hand over? Enter skips a question, a full stop all the rest.")
                said = True
            answer = self._answer(self._ask, key, question)
            if answer is None:
                break
            given = replace(given, **answer)
        return given

    def _answer(self, ask: Ask, key: str, question: str) -> dict[str, Any] | None:
        """Ask until the answer can be used; empty where there is none, None where no more is to be asked."""
        while (answer := ask(question)) is not None and answer.strip() != ".":
            if not answer.strip():
                return {}
            try:
                found = read_handover({key: _written(key, answer.strip())}, Path.cwd())
            except HandoverError as error:
                self._say(f"  {error.mistakes[0].reason}; {error.mistakes[0].mend}")
            else:
                name = _OWN.get(key, key)
                return {name: getattr(found, name)}
        return None

    def rehearses(self) -> bool:
        """Ask whether the failover is to be rehearsed."""
        question = "It cuts everybody off for a while. Rehearse the failover to the second line now (yes or no)?"
        return self._ask is not None and (self._ask(question) or "").strip().lower() in _YES

    def agrees(self) -> bool:
        """Ask for the word itself: an Enter that slips out must cut off nobody."""
        return self._ask is not None and (self._ask('Type "yes" to begin:') or "").strip().lower() == "yes"


def _known(given: Handover, key: str) -> bool:
    return getattr(given, _OWN.get(key, key)) not in (None, ())


def _written(key: str, answer: str) -> object:
    """Return an answer as the file would have it."""
    if key == "photographs":
        return [name.strip() for name in answer.split(",")]
    if key in _NUMBERS and answer.isdecimal():
        return int(answer)
    return _WORDS.get(answer.lower(), answer) if key == "public_address" else answer


_WORDS: Final = {"yes": True, "y": True, "no": False, "n": False}
