"""Passwords as they are kept."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.door import Cost, Password, PasswordError, hashed
from wanwatch.core.door.password import USUAL, scrypt

CHEAP = Cost(4, 1, 1)
SAID = "four words of mine"
SALT = bytes(range(16))


@pytest.mark.parametrize(
    ("text", "salt", "cost", "begin"),
    [
        (b"", b"", Cost(4, 1, 1), "77 d6 57 62 38 65 7b 20 3b 19 ca 42 c1 8a 04 97"),
        (b"password", b"NaCl", Cost(10, 8, 16), "fd ba be 1c 9d 34 72 00 78 56 e7 19 0d 01 e9 fe"),
        (b"pleaseletmein", b"SodiumChloride", Cost(14, 8, 1), "70 23 bd cb 3a fd 73 48 46 1c 06 cd 81 fd 38 eb"),
    ],
)
def test_keys_are_those_of_the_rfc(text: bytes, salt: bytes, cost: Cost, begin: str) -> None:
    """RFC 7914 section 12, the vectors that fit in little memory; the first 16 of their 64 bytes."""
    assert scrypt(text, salt, cost, 64)[:16] == bytes.fromhex(begin)


def test_a_line_that_another_library_made_is_read() -> None:
    """The PHC string format: the hash of "password" in the documentation of passlib 1.7, `passlib.hash.scrypt`."""
    line = "$scrypt$ln=16,r=8,p=1$aM15713r3Xsvxbi31lqr1Q$nFNh2CVHVjNldFVKDHDlm4CbdRSCdEBsjjJxD+iCs5E"
    kept = Password.from_line(line)
    assert kept.is_it("password")
    assert kept.line() == line


@given(st.text(min_size=8, max_size=40), st.binary(min_size=16, max_size=16))
def test_what_is_kept_is_read_again_and_tells_right_from_wrong(said: str, salt: bytes) -> None:
    """Any letters will do; what stands in the file does not hold them."""
    line = hashed(said, salt, CHEAP).line()
    kept = Password.from_line(line)
    assert kept.is_it(said)
    assert not kept.is_it(said + "x")
    assert said not in line
    assert repr(kept) == "Password(cost=Cost(ln=4, r=1, p=1))"


def test_the_same_letters_from_another_keyboard_are_the_same_password() -> None:
    """NFKC, as NIST SP 800-63B section 5.1.1.2 has it (from memory): an umlaut as one sign or as two."""
    assert hashed("gr\u00fcne Wiese", SALT, CHEAP).is_it("gru\u0308ne Wiese")


@pytest.mark.parametrize("said", ["", "seven77", "x" * 1025])
def test_a_password_that_anybody_guesses_is_refused(said: str) -> None:
    """Eight letters at least, and an end to them; the refusal does not show it."""
    with pytest.raises(PasswordError) as raised:
        hashed(said, SALT, CHEAP)
    assert not said or said not in str(raised.value)


@pytest.mark.parametrize(
    "line",
    [
        "", SAID, "$scrypt$", "$scrypt$ln=4,r=1,p=1$AAAAAAAA$", "$argon2id$v=19$m=1,t=1,p=1$AAAAAAAA$" + "A" * 43,
        "$scrypt$ln=4,r=1,p=1$AAAAAAAA$" + "A" * 42 + "!", "$scrypt$ln=4,r=1,p=1$AAAAAAAAA$" + "A" * 43,
        "$scrypt$ln=99,r=8,p=1$AAAAAAAA$" + "A" * 43, "$scrypt$ln=20,r=8,p=1$AAAAAAAA$" + "A" * 43,
        "$scrypt$ln=16,r=8,p=9$AAAAAAAA$" + "A" * 43, "$scrypt$ln=0,r=8,p=1$AAAAAAAA$" + "A" * 43,
        "$scrypt$ln=16,r=1,p=1$AAAAAAAA$" + "A" * 43, "$scrypt$ln=4,r=0,p=0$AAAAAAAA$" + "A" * 43,
    ],
)  # fmt: skip
def test_another_line_is_refused_and_not_shown(line: str) -> None:
    """No password in plain, no other format, and no cost that would take the machine's memory or its minutes."""
    with pytest.raises(PasswordError) as raised:
        Password.from_line(line)
    assert not line or line not in str(raised.value)


@given(st.text(max_size=120))
def test_any_text_is_a_line_or_refused(text: str) -> None:
    """Nothing else is raised."""
    with contextlib.suppress(PasswordError):
        Password.from_line(text)


@given(st.integers(0, 99), st.integers(0, 999), st.integers(0, 999))
def test_whatever_costs_are_taken_can_be_reckoned_with(ln: int, r: int, p: int) -> None:
    """What is read must not fail later, when somebody signs in: RFC 7914 section 2 bounds N, and OpenSSL the memory."""
    line = f"$scrypt$ln={ln},r={r},p={p}$AAAAAAAA$" + "A" * 43
    try:
        cost = Password.from_line(line).cost
    except PasswordError:
        return
    if 128 * cost.r * cost.p << cost.ln <= 1 << 20:  # the dear ones take a second each
        scrypt(b"", b"", cost, 32)


def test_the_usual_cost_is_what_common_practice_asks_for() -> None:
    """One of the pairs that OWASP's cheat sheet names as alike (from memory): N = 2^14, r = 8, p = 5."""
    assert USUAL == (14, 8, 5)
