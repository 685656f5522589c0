"""Rows of text as aligned columns, for a terminal."""

from collections.abc import Sequence


def columns(rows: Sequence[tuple[str, ...]]) -> str:
    """Return the *rows*, all of one length, a line each; there must be one."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    lines = ["  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)) for row in rows]
    return "\n".join(line.rstrip() for line in lines) + "\n"
