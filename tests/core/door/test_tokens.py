"""Tokens as they are kept."""

import contextlib
import subprocess

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.door import TokenError, digest, read_tokens, token_line


def test_a_line_is_what_sha256sum_says() -> None:
    """Anybody can check which token a line belongs to, with coreutils."""
    told = subprocess.run(["sha256sum"], input=b"sesame", capture_output=True, check=True).stdout.split()[0]
    assert token_line("sesame") == f"sha256:{told.decode()}"


def test_a_file_holds_one_token_in_plain_or_many_as_lines() -> None:
    """Comments say what each is for."""
    assert read_tokens("sesame\n") == (digest("sesame"),)
    lines = f"# prometheus\n{token_line('one')}\n\n  {token_line('two')}  \n"
    assert read_tokens(lines) == (digest("one"), digest("two"))


@pytest.mark.parametrize(
    "text",
    [
        "", "\n", "# nothing yet", "sesame\nopen", f"{token_line('one')}\nsesame", "sha256:0123", "sha256:",
        "\n".join(token_line(str(n)) for n in range(101)),
    ],
)  # fmt: skip
def test_another_file_is_refused_and_not_shown(text: str) -> None:
    """An empty file would open the door to an empty token; two lines are likely another file."""
    with pytest.raises(TokenError) as raised:
        read_tokens(text)
    assert "sesame" not in str(raised.value)


@given(st.text(max_size=200))
def test_any_text_is_tokens_or_refused(text: str) -> None:
    """Nothing else is raised, and what is taken is digests."""
    with contextlib.suppress(TokenError):
        assert all(len(kept) == 32 for kept in read_tokens(text))
