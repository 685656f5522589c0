"""Read a configuration file: every mistake in it at once, or a Config.

A file is judged in three rounds, and no round hides what another one finds: each value by itself, then keys that only
go together, then what different tables say of each other. The last round works on the file without its spoilt parts.
"""

import errno
import os
import tomllib
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any, Final, TypeAlias

from pydantic import ValidationError

from wanwatch.config import crossing, naming, together
from wanwatch.config.fields import Around
from wanwatch.config.mistakes import ConfigError, Loc, Mistake, at, of_pydantic, path_of, real_loc, show
from wanwatch.config.schema import Config

Document: TypeAlias = dict[str, Any]

VARIABLE: Final = "WANWATCH_CONFIG"
USUAL_PLACES: Final = (Path("wanwatch.toml"), Path("/etc/wanwatch/wanwatch.toml"))
_ROUNDS: Final = 50  # each round takes at least one spoilt part away; a file with more is told its first mistakes


def find(explicit: Path | None = None, environ: Mapping[str, str] = os.environ) -> Path:
    """Return the configuration file to use: the one named, else $WANWATCH_CONFIG, else the usual places.

    Raises:
        ConfigError: None was named and none is in the usual places.
    """
    if explicit is not None:
        return explicit
    if named := environ.get(VARIABLE):
        return Path(named)
    for place in USUAL_PLACES:
        if _is_there(place):
            return place
    places = " nor ".join(map(str, USUAL_PLACES))
    mend = f"name it with --config or in ${VARIABLE}, or make one with 'wanwatch init'"
    raise ConfigError([Mistake("configuration", None, f"there is neither {places}", mend)])


def _is_there(place: Path) -> bool:
    """Whether a file stands at *place*; one that may not be looked at does, so that reading it says why."""
    try:
        place.stat()
    except PermissionError:
        return True
    except OSError:
        return False
    return True


def load(path: Path, environ: Mapping[str, str] = os.environ) -> Config:
    """Read, check and resolve the file at *path*.

    Args:
        path: The TOML file.
        environ: Where secrets may stand instead of in files.

    Raises:
        ConfigError: With every mistake that could be found.
    """
    return read(_document(path), Around(path.resolve().parent, environ))


def read(document: Document, around: Around) -> Config:
    """Check and resolve a parsed document; see `load`."""
    found = [*_shape(document, around), *naming.check(document), *together.check(document)]
    draft = _Draft(document, {_spoilt_by(loc) for loc, _ in found})
    config = draft.config(around)
    if config is not None:
        for loc, reason, mend in crossing.check(config, targets_whole=draft.whole("target")):
            original = draft.original(loc)
            found.append((original, Mistake(path_of(original), show(original, at(document, original)), reason, mend)))
    if found or config is None:
        raise ConfigError(_in_order(document, found))
    return crossing.resolved(config)


def _document(path: Path) -> Document:
    mend = "name another file with --config, or make one with 'wanwatch init'"
    try:
        return tomllib.loads(path.read_text("utf-8"))
    except OSError as error:
        reason = f"cannot be read: {os.strerror(error.errno or errno.EIO)}"
    except UnicodeDecodeError as error:
        reason, mend = f"not UTF-8 text (byte {error.start})", "save it as UTF-8"
    except tomllib.TOMLDecodeError as error:
        reason, mend = f"not TOML: {error}", "mend the line named"
    except (ValueError, RecursionError):  # a number of thousands of digits; brackets by the thousand
        reason, mend = "not a configuration: a number or a nesting in it has no end", "mend that"
    raise ConfigError([Mistake(str(path), None, reason, mend)])


def _shape(document: Document, around: Around) -> list[tuple[Loc, Mistake]]:
    try:
        Config.model_validate(document, context=around)
    except ValidationError as error:
        return of_pydantic(error, Config, document)
    return []


class _Draft:
    """A document without its spoilt parts, which remembers where each part of it stood."""

    def __init__(self, document: Document, spoilt: Collection[Loc]) -> None:
        self._document = document
        self._spoilt = set(spoilt)
        self._kept: dict[Loc, list[int]] = {}

    def document(self) -> Document:
        """Return the rest of the document."""
        self._kept.clear()
        rest: Document = self._rest((), self._document)
        return rest

    def config(self, around: Around) -> Config | None:
        """Return what can still be read, after taking away more where needed; None if nothing can."""
        for _ in range(_ROUNDS):
            rest = self.document()
            try:
                return Config.model_validate(rest, context=around)
            except ValidationError as error:
                before = len(self._spoilt)
                self._spoilt |= {
                    self._culprit(real_loc(detail["loc"], rest), detail["type"]) for detail in error.errors()
                }
                if len(self._spoilt) == before or () in self._spoilt:
                    return None
        return None

    def whole(self, key: str) -> bool:
        """Whether nothing of the list under *key* had to be taken away."""
        return not any(loc[0] == key and len(loc) == 2 for loc in self._spoilt)  # noqa: PLR2004 - the key and a row

    def original(self, loc: Loc) -> Loc:
        """Return where the part at *loc* of the rest stood in the whole document."""
        before: Loc = ()
        for step in loc:
            if isinstance(step, str):
                before += (step,)
            elif before in self._kept:  # otherwise a table stands alone for a list of one
                before += (self._kept[before][step],)
        return before

    def _culprit(self, loc: Loc, kind: str) -> Loc:
        """A table without a key that it needs has to go as a whole."""
        original = self.original(loc)
        return original[:-1] if kind == "missing" else original

    def _rest(self, loc: Loc, part: Any) -> Any:
        if isinstance(part, dict):
            return {
                key: self._rest((*loc, key), below) for key, below in part.items() if (*loc, key) not in self._spoilt
            }
        if isinstance(part, list):
            self._kept[loc] = [index for index in range(len(part)) if (*loc, index) not in self._spoilt]
            return [self._rest((*loc, index), part[index]) for index in self._kept[loc]]
        return part


def _spoilt_by(loc: Loc) -> Loc:
    """Return what a mistake at *loc* takes with it. A target with one wrong uplink may be meant for any of them."""
    return loc[:-1] if loc[-2:-1] == ("uplinks",) else loc


def _in_order(document: Document, found: list[tuple[Loc, Mistake]]) -> list[Mistake]:
    """Sort mistakes as the file goes, so that a person mends it in one pass."""

    def place(loc: Loc) -> list[int]:
        ranks, part = [], document
        for step in loc:
            keys: list[Any] = (
                list(part) if isinstance(part, dict) else list(range(len(part) if isinstance(part, list) else 0))
            )
            ranks.append(keys.index(step) if step in keys else len(keys))
            part = at(part, (step,))  # type: ignore[assignment]  # any part, not only the root
        return ranks

    told = {str(mistake): mistake for _, mistake in sorted(found, key=lambda pair: place(pair[0]))}
    return list(told.values())
