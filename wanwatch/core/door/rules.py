"""The rules of the door: what a request has to show, as a table; which request comes from somebody else's page.

Sources:  RFC 6750, RFC 9110; RFC 6454 (Origin); W3C Fetch Metadata (Sec-Fetch-Site).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum, auto
from typing import Final
from urllib.parse import urlsplit

from wanwatch.core.door.password import Password


@dataclass(frozen=True, slots=True)
class Keys:
    """What opens the door.

    Attributes:
        password: What people sign in with; None: they cannot.
        tokens: The digests of what programs show.
        near: Whether we listen on loopback only.
    """

    password: Password | None = None
    tokens: tuple[bytes, ...] = field(default=(), repr=False)
    near: bool = True

    @property
    def any(self) -> bool:
        """Whether anything is asked for."""
        return self.password is not None or bool(self.tokens)


class Sort(Enum):
    """What is asked for."""

    ENTRY = auto()
    """The page to sign in on, and what it is drawn with."""
    PAGE = auto()
    API = auto()
    MEASURED = auto()
    """/metrics and /health: for programs on this machine, as long as no token is set."""


class Shown(Enum):
    """What a request shows."""

    NOTHING = auto()
    WRONG = auto()
    """A token that is none."""
    RIGHT = auto()
    """A token, a session, or that it came through this machine's own socket."""


class Ruling(Enum):
    """What becomes of it."""

    COME_IN = auto()
    SIGN_IN = auto()
    """Go to the page to sign in on."""
    NO_TOKEN = auto()
    """Show a token (401)."""
    NO_ADDRESS = auto()
    """Ask by address (421): a stranger's page could have any name of its own lead to loopback."""


_NOTHING_SHOWN: Final[Mapping[bool, Mapping[Sort, Ruling]]] = {  # where something is asked for; is it a password?
    True: {
        Sort.ENTRY: Ruling.COME_IN,
        Sort.PAGE: Ruling.SIGN_IN,
        Sort.API: Ruling.NO_TOKEN,
        Sort.MEASURED: Ruling.NO_TOKEN,
    },
    False: dict.fromkeys(Sort, Ruling.NO_TOKEN),
}


def rule(keys: Keys, sort: Sort, shown: Shown, *, by_address: bool) -> Ruling:
    """Say what becomes of a request.

    Args:
        keys: What opens the door.
        sort: What is asked for.
        shown: What it shows.
        by_address: Whether it names us by an address, or as `localhost`.
    """
    if shown is Shown.RIGHT:
        return Ruling.COME_IN
    if shown is Shown.WRONG:
        return Ruling.NO_TOKEN
    open_to_all = not keys.any or (sort is Sort.MEASURED and keys.near and not keys.tokens)
    if open_to_all:
        return Ruling.COME_IN if by_address else Ruling.NO_ADDRESS
    return _NOTHING_SHOWN[keys.password is not None][sort]


def is_from_elsewhere(host: str, origin: str | None, fetch_site: str | None) -> bool:
    """Whether a form may have been sent from somebody else's page, or by no page at all.

    Browsers say Sec-Fetch-Site only over TLS and to loopback, so Origin speaks where it is missing. The scheme is left
    out of it: a proxy in front of us may speak TLS.

    Args:
        host: What the request says in Host.
        origin: What it says in Origin.
        fetch_site: What it says in Sec-Fetch-Site.
    """
    if fetch_site not in {None, "none"}:  # "none": a person's own doing, such as a form that is sent anew
        return fetch_site != "same-origin"
    try:
        return origin is None or urlsplit(origin).netloc != host or not host
    except ValueError:
        return True


def way_back(wanted: str) -> str:
    """Return where to go after signing in: *wanted* if it is a page of ours, else the first page."""
    fit = wanted.startswith("/") and wanted.isascii() and wanted.isprintable() and len(wanted) <= 2000  # noqa: PLR2004 - longer than any of ours
    # Browsers take a backslash for a slash, and two slashes for another host; that holds for a path's middle, too, once
    # dots before it are resolved.
    if not fit or "\\" in wanted or "//" in wanted.partition("?")[0]:
        return "/"
    return "/" if wanted.partition("?")[0] in {"/login", "/logout"} else wanted
