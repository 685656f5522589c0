"""Mistakes in a configuration: where, what was written, why it cannot be, and what to write instead."""

import difflib
import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time
from typing import Any, Final, TypeAlias, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from wanwatch.config.units import Unfit
from wanwatch.core.errors import WanwatchError

Loc: TypeAlias = tuple[str | int, ...]
"""The way to a value: keys and places in lists."""

LONGEST_SHOWN: Final = 80


@dataclass(frozen=True, slots=True)
class Mistake:
    """One mistake.

    Attributes:
        path: The key's path, such as `uplink[1].pin.interface`; places in lists count from 0.
        value: What was written, as the file writes it; None where it is missing, long, or must not be shown.
        reason: Why it cannot be.
        mend: What to write instead.
    """

    path: str
    value: str | None
    reason: str
    mend: str

    def __str__(self) -> str:
        """One line."""
        shown = "" if self.value is None else f" = {self.value}"
        return f"{self.path}{shown}: {self.reason}; {self.mend}"


class ConfigError(WanwatchError):
    """The configuration cannot be used. Its text holds every mistake, one a line."""

    def __init__(self, mistakes: Sequence[Mistake]) -> None:
        super().__init__("\n".join(map(str, mistakes)))
        self.mistakes = tuple(mistakes)


def path_of(loc: Loc) -> str:
    """Write a location as people do: `uplink[1].pin.interface`."""
    path = ""
    for step in loc:
        if isinstance(step, int):
            path += f"[{step}]"
        else:
            bare = re.fullmatch(r"[A-Za-z0-9_-]+", step)
            path += ("." if path else "") + (step if bare else json.dumps(step))
    return path


def show(loc: Loc, value: object) -> str | None:
    """Write a value as the file does, on one line; None for tables, lists and whatever may be a secret."""
    if loc and str(loc[-1]).endswith("_file"):
        return None  # people do paste the secret itself where its file belongs
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        hidden = re.sub(r"//[^/@\s]*@", "//…@", value)
        return repr(hidden if len(hidden) <= LONGEST_SHOWN else hidden[:LONGEST_SHOWN] + "…")
    return str(value) if isinstance(value, int | float | date | time) else None


def of_pydantic(
    error: ValidationError, root: type[BaseModel], document: Mapping[str, Any]
) -> list[tuple[Loc, Mistake]]:
    """Put every error of *error* into our words. No value of an unknown key is shown: it may be a misspelt secret."""
    details = error.errors()
    return [(loc, _mistake(loc, detail, root)) for detail in details for loc in [real_loc(detail["loc"], document)]]


def real_loc(loc: Loc, document: Mapping[str, Any]) -> Loc:
    """Leave out steps that the document does not have.

    They only name which kind of clause was meant, or the place of a table that stands for a list of one.
    """
    steps: list[str | int] = []
    for index, step in enumerate(loc):
        is_tag = index > 1 and loc[index - 2] == "clause" and isinstance(loc[index - 1], int)
        stands_alone = isinstance(step, int) and isinstance(at(document, steps), dict)
        if not is_tag and not stands_alone:
            steps.append(step)
    return tuple(steps)


def at(document: object, loc: Sequence[str | int]) -> object:
    """Return the part of a document at *loc*; None where there is none."""
    part: Any = document
    for step in loc:
        try:
            part = part[step]
        except (KeyError, IndexError, TypeError):
            return None
    return part


def _mistake(loc: Loc, detail: ErrorDetails, root: type[BaseModel]) -> Mistake:
    kind = detail["type"]
    context = detail.get("ctx", {})
    cause = context.get("error")
    if isinstance(cause, Unfit):
        return Mistake(path_of(loc), show(loc, detail["input"]), cause.reason, cause.mend)
    if kind == "extra_forbidden":
        mend = did_you_mean(str(loc[-1]), known_keys(root, detail["loc"][:-1]))
        return Mistake(path_of(loc), None, "there is no such key", mend)
    if kind == "union_tag_invalid":
        known = [tag.strip(" '") for tag in context["expected_tags"].split(",")]
        loc, tag = (*loc, "measure"), str(context["tag"])
        return Mistake(path_of(loc), show(loc, tag), "there is no such measure", did_you_mean(tag, known))
    reason, mend = _WORDS.get(kind, _otherwise)(context)
    value = None if kind == "missing" else show(loc, detail["input"])
    return Mistake(path_of(loc), value, reason, mend)


def known_keys(root: type[BaseModel], loc: Loc) -> list[str]:
    """Return the keys that the table at *loc* may hold; *loc* is pydantic's own, with the kind of a clause in it."""
    tables = [root]
    for step in loc:
        if isinstance(step, str):
            below = [kind for table in tables for kind in _tables_under(table, step)]
            tables = below or [table for table in tables if step in _measures(table)] or tables
    return [field.alias or name for table in tables for name, field in table.model_fields.items()]


def _tables_under(table: type[BaseModel], key: str) -> list[type[BaseModel]]:
    fields = [field for name, field in table.model_fields.items() if (field.alias or name) == key]
    return [kind for field in fields for kind in _models_in(field.annotation)]


def _measures(table: type[BaseModel]) -> tuple[str, ...]:
    measure = table.model_fields.get("measure")
    return get_args(measure.annotation) if measure else ()


def _models_in(annotation: object) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in get_args(annotation) for model in _models_in(part)]


def did_you_mean(name: str, known: Sequence[str]) -> str:
    """Return the mend for a *name* that is not one of *known*."""
    near = difflib.get_close_matches(name, known, n=1)
    known_text = ", ".join(known)
    return f"did you mean {near[0]!r}?" if near else f"write one of: {known_text}"


def _otherwise(context: Mapping[str, Any]) -> tuple[str, str]:  # noqa: ARG001 - one signature for the whole table
    return "it cannot be this", "see 'wanwatch schema' for what can be written here"


def _say(reason: str, mend: str) -> Callable[[Mapping[str, Any]], tuple[str, str]]:
    """Fill what pydantic knows of the limit into both texts."""
    return lambda context: (reason.format_map(context), mend.format_map(context))


_TABLE: Final = _say("not a table", "write a table of keys here")
_LIST: Final = _say("not a list", "write it in square brackets")
_WHOLE: Final = _say("not a whole number", "write a whole number without quotes")
_WORDS: Final[Mapping[str, Callable[[Mapping[str, Any]], tuple[str, str]]]] = {
    "missing": _say("this key is missing", "write it"),
    "model_type": _TABLE,
    "model_attributes_type": _TABLE,
    "tuple_type": _LIST,
    "int_type": _WHOLE,
    "int_from_float": _WHOLE,
    "bool_type": _say("neither true nor false", "write true or false, without quotes"),
    "greater_than": _say("too small", "write more than {gt}"),
    "greater_than_equal": _say("too small", "write at least {ge}"),
    "less_than_equal": _say("too large", "write at most {le}"),
    "literal_error": _say("not one of the words for this", "write {expected}"),
    "union_tag_not_found": _say(
        "the clause does not say what it measures", 'write measure = "availability" or another'
    ),
    "too_short": _say("it is empty", "write at least one"),
}
