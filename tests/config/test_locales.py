"""`site.locale`: a name that CLDR knows, in one writing; anything else is a mistake with its mend."""

import subprocess
import sys

import pytest

from wanwatch.config.locales import locale
from wanwatch.config.units import Unfit


@pytest.mark.parametrize(
    ("written", "found"),
    [("en-GB", "en-GB"), ("EN-gb", "en-GB"), ("de", "de"), ("zh-TW", "zh-Hant-TW"), ("hi-IN", "hi-IN")],
)
def test_a_locale_is_found_by_its_name(written: str, found: str) -> None:
    """BCP 47: case does not matter; where a country has one usual script, it need not be written (zh-TW, CLDR)."""
    assert locale(written) == found


@pytest.mark.parametrize(
    ("written", "reason", "mend"),
    [
        ("xx", "there is no such locale in CLDR", 'write a language and a country, such as "en-GB" or "de-CH"'),
        ("en-GBR", "there is no such locale in CLDR", "did you mean 'en-GB'?"),
        ("en_GB", "there is no such locale in CLDR", "did you mean 'en-GB'?"),
        ("en-XX", "there is no such locale in CLDR", "did you mean 'en'?"),
        ("", "there is no such locale in CLDR", 'write a language and a country, such as "en-GB" or "de-CH"'),
        ("root", "the name of no locale", 'write a language and a country, such as "en-GB" or "de-CH"'),
        (7, "not a locale", 'write its name as text, such as "en-GB"'),
    ],
)
def test_what_is_none_says_why_and_what_to_write(written: object, reason: str, mend: str) -> None:
    """Its key and its value are told by whoever reads the file."""
    with pytest.raises(Unfit) as caught:
        locale(written)
    assert (caught.value.reason, caught.value.mend) == (reason, mend)


def test_a_daemon_without_a_locale_loads_no_library_for_it() -> None:
    """The rooms of a daemon, and the configuration, come without babel."""
    asked = "import sys, wanwatch.daemon.site, wanwatch.config; sys.exit('babel' in sys.modules)"
    subprocess.run([sys.executable, "-c", asked], check=True)
