"""Guessing takes long, and locks out nobody else."""

from hypothesis import given
from hypothesis import strategies as st

from wanwatch.core.door import Limits, Tries
from wanwatch.core.model import NS_PER_S

THEM, ME = b"them", b"me"
HOUR_NS = 3600 * NS_PER_S


def guess(tries: Tries, whose: bytes, until_ns: int) -> int:
    """Guess as fast as is let, and return how many were looked at."""
    now_ns = looked = 0
    while now_ns < until_ns:
        wait_ns = tries.begin(whose, now_ns)
        looked += wait_ns == 0
        now_ns += wait_ns
    return looked


def test_each_further_wrong_try_waits_twice_as_long_up_to_five_minutes() -> None:
    """Five are free: people mistype. Nobody behind the same address waits longer than the longest."""
    tries = Tries()
    assert [tries.begin(THEM, 0) for _ in range(6)] == [0, 0, 0, 0, 0, NS_PER_S]
    now_ns, waits_s = 0, []
    for _ in range(11):
        wait_ns = tries.begin(THEM, now_ns)
        waits_s.append(wait_ns // NS_PER_S)
        now_ns += wait_ns
        assert tries.begin(THEM, now_ns) == 0
    assert waits_s == [1, 2, 4, 8, 16, 32, 64, 128, 256, 300, 300]


def test_a_day_of_guessing_is_some_hundred_guesses() -> None:
    """NIST SP 800-63B section 5.2.2 (from memory) bears no more than 100 in a row; five minutes each keep near that."""
    assert guess(Tries(), THEM, 24 * HOUR_NS) < 310


def test_many_at_once_are_as_many_tries() -> None:
    """A try counts when it begins: nobody gets a thousand looked at before the first is told to be wrong."""
    tries = Tries()
    assert sum(tries.begin(THEM, 0) == 0 for _ in range(1000)) == 5


def test_a_stranger_locks_out_nobody_else() -> None:
    """Another address has all its own tries, and a right one takes the wrong ones back."""
    tries = Tries()
    guess(tries, THEM, HOUR_NS)
    for _ in range(20):
        assert [tries.begin(ME, HOUR_NS) for _ in range(4)] == [0, 0, 0, 0]
        tries.right(ME)


def test_many_addresses_share_one_supply_which_a_known_one_does_not_need() -> None:
    """Guessing from thousands of addresses is slow as well; who has signed in from somewhere can do so again."""
    tries = Tries(Limits(burst=100, gap_ns=2 * NS_PER_S))
    assert tries.begin(ME, 0) == 0
    tries.right(ME)
    looked = sum(tries.begin(str(number).encode(), 0) == 0 for number in range(2000))
    assert looked == 100
    assert tries.begin(b"one more", 0) == 2 * NS_PER_S
    assert tries.begin(b"one more", 2 * NS_PER_S) == 0
    assert tries.begin(ME, 0) == 0
    tries.forget()  # another password is in force: nobody is known any more
    assert tries.begin(ME, 0) > 0


def test_wrong_tries_are_forgotten_after_an_hour() -> None:
    """Tomorrow's typing error is not yesterday's."""
    tries = Tries()
    for _ in range(5):
        tries.begin(ME, 0)
    assert tries.begin(ME, 1) > 0
    assert [tries.begin(ME, HOUR_NS) for _ in range(5)] == [0, 0, 0, 0, 0]


def test_the_same_thing_shown_again_is_no_other_guess() -> None:
    """A program with an old token asks every quarter of a minute, and learns nothing by it."""
    tries = Tries()
    assert not tries.is_again(THEM, b"old")
    tries.begin(THEM, 0, b"old")
    assert tries.is_again(THEM, b"old")
    assert not tries.is_again(ME, b"old")
    tries.begin(THEM, 0, b"other")
    assert not tries.is_again(THEM, b"old")


@given(st.lists(st.tuples(st.integers(0, 5000), st.booleans()), max_size=300))
def test_memory_has_an_end(asked: list[tuple[int, bool]]) -> None:
    """However many addresses ask, rightly or wrongly."""
    tries = Tries(Limits(addresses=50, burst=10_000))
    for number, right in asked:
        whose = str(number).encode()
        tries.begin(whose, number)
        if right:
            tries.right(whose)
    assert len(tries) <= 100
