"""Locales, by their names in CLDR, as babel's data have them; they are looked at only where one is written."""

import difflib
from collections.abc import Iterable
from typing import Final

from wanwatch.config.units import Unfit

_NEAR: Final = 0.85
"""Of five letters one may be wrong in a language, and none in a country: they resemble each other too much."""


def locale(value: object) -> str:
    """Return a locale's name in the writing of BCP 47, such as `de-CH`.

    Raises:
        Unfit: It is no text, or CLDR has no such locale.
    """
    from babel import Locale, UnknownLocaleError  # noqa: PLC0415 - 3 MB, which a daemon without a locale does not need
    from babel.localedata import locale_identifiers  # noqa: PLC0415 - likewise

    if not isinstance(value, str):
        raise Unfit(reason="not a locale", mend='write its name as text, such as "en-GB"')
    try:
        found = Locale.parse(value, sep="-")
    except (UnknownLocaleError, ValueError):
        raise Unfit(reason="there is no such locale in CLDR", mend=_mend(value, locale_identifiers())) from None
    if found.language == "root":  # where CLDR keeps what all locales share
        raise Unfit(reason="the name of no locale", mend=_mend("", ()))
    return str(found).replace("_", "-")


def _mend(value: str, known: Iterable[str]) -> str:
    names = sorted(name.replace("_", "-") for name in known)
    asked = value.replace("_", "-")
    near = difflib.get_close_matches(asked, names, n=1, cutoff=_NEAR) or [n for n in names if n == asked.split("-")[0]]
    return f"did you mean {near[0]!r}?" if near else 'write a language and a country, such as "en-GB" or "de-CH"'
