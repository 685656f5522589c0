"""What the demo prints besides what any watched terminal gets: the office's own voice, and the final comparison."""

from collections.abc import Sequence
from typing import Final

from wanwatch.demo.comparison import Row
from wanwatch.publish.terminal import Speaker, Tone

OFFICE: Final = Speaker("office", Tone.FAINT, Tone.FAINT)


def comparison_table(rows: Sequence[Row]) -> list[str]:
    """Return the table of truths and conclusions, a line each, its head first."""
    head = ("what happened", "start", "end", "cut off", "told", "agrees")
    cells = [head, *map(_cells, rows)]
    first, *middle, _ = [max(map(len, column)) for column in zip(*cells, strict=True)]
    return [
        "  ".join(
            [what.ljust(first), *map(str.rjust, figures, middle), agrees]
        )  # words to the left, figures to the right
        for what, *figures, agrees in cells
    ]


def _cells(row: Row) -> tuple[str, str, str, str, str, str]:
    what = row.kind.value.replace("-", " ") + (f" of {row.uplink}" if row.uplink else "")
    return (
        what,
        _milliseconds(row.start_error_ms),
        _milliseconds(row.end_error_ms),
        _seconds(row.cut_off_s),
        _seconds(row.told_cut_off_s),
        "NO" if row.fault else "yes",
    )


def _milliseconds(value: float | None) -> str:
    return "-" if value is None else f"{value:+.0f} ms"


def _seconds(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f} s"
