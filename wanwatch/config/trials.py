"""Settings to try in a replay, as a person gives them on the command line."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Final

from wanwatch.config import units
from wanwatch.core.errors import WanwatchError
from wanwatch.core.model import JudgeSettings

_READ: Final[Mapping[str, tuple[str, Callable[[object], Any]]]] = {
    "down_after": ("down_after_ns", units.duration),
    "up_after": ("up_after_ns", units.duration),
    "impaired_loss": ("impaired_loss_ratio", lambda text: float(units.share(text))),
    "impaired_delay": ("impaired_delay_ns", units.duration),
    "impaired_speed": ("impaired_speed_ratio", lambda text: float(units.share(text))),
    "window": ("window_ns", units.duration),
    "clear_after": ("clear_after_ns", units.duration),
}
"""The keys of [judge] that can be tried, each with its field and how it is read."""


class TrialError(WanwatchError):
    """A setting on the command line cannot be read.

    Attributes:
        option: The option it was given to.
        text: What was given.
    """

    def __init__(self, option: str, text: str, reason: units.Unfit) -> None:
        super().__init__(f"{option} {text!r}: {reason}")
        self.option, self.text = option, text


def trials(
    configured: JudgeSettings, changes: Mapping[str, str | None], compare: str | None
) -> list[tuple[str, JudgeSettings]]:
    """Return the settings to try, each with a name that says what is changed.

    Args:
        configured: The settings of the configuration.
        changes: Other values by the keys of [judge], written as there; None: as configured.
        compare: Values of `down_after` to set side by side, such as `2s,5s`.

    Raises:
        TrialError: One of them cannot be read.
    """
    given = {key: text for key, text in changes.items() if text is not None}
    rows = [given]
    if compare is not None:
        rows = [{**given, "down_after": word.strip()} for word in compare.split(",")]
    option = None if compare is None else "--compare"
    return [(_name(row), _changed(configured, row, option)) for row in rows]


def _name(row: Mapping[str, str]) -> str:
    return ", ".join(f"{key} {text}" for key, text in row.items()) or "as configured"


def _changed(configured: JudgeSettings, row: Mapping[str, str], compare: str | None) -> JudgeSettings:
    for key, text in row.items():
        field, read = _READ[key]
        try:
            configured = replace(configured, **{field: read(text)})
        except units.Unfit as error:
            option = compare if compare is not None and key == "down_after" else f"--{key.replace('_', '-')}"
            raise TrialError(option, text, error) from error
    return configured
