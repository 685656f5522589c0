"""The result of reading bytes that are not the packet they should be."""

from typing import NamedTuple


class Malformed(NamedTuple):
    """Why a packet could not be read; every codec of this package returns it instead of raising.

    Attributes:
        reason: What is wrong, in a few words.
    """

    reason: str
