"""Voice: how a call over a line would be rated, by the E-model.

The model is ITU-T G.107 itself with its default values, and not one of the published curve fits to it. Its formulas
are from a secondary source; they give the default rating of 93.2062 that the standard prints as 93.2.

Sources:     ITU-T G.107 (E-model, 2003 and later); ITU-T G.113 appendix I (codecs); ITU-T G.114 (one-way delay);
             RFC 3551 section 4.2 (20 ms of voice in a packet).
Departures:  the mean opinion score is held to 1 at least: the cubic dips below it between R = 0 and 6.5. A line is
             rated as if echo were fully controlled (T = Tr = 0, only Ta is the line's delay), since echo depends on
             the telephones and not on the line.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from wanwatch.core.account.variation import LossRuns

PACKET_S: Final = 0.020
"""RFC 3551 section 4.2: a packet holds 20 ms of voice, unless agreed otherwise."""
BUFFER_S: Final = 0.040
"""A de-jitter buffer of two packets. Common practice, no published source."""
FEWEST_RUNS: Final = 30
"""Of fewer runs of loss the mean length says little, and loss is taken as random. Our choice, no published source."""

# Default values of G.107's table 3, in its own names and units (dB, dBm0p, ms).
_SLR, _RLR, _STMR, _DS, _DR, _TELR, _WEPL = 8.0, 2.0, 15.0, 3.0, 3.0, 65.0, 110.0
_NC, _NFOR, _PS, _PR, _QDU = -70.0, -64.0, 35.0, 35.0, 1.0
_BEST_R: Final = 100.0
_NO_DELAY_IMPAIRMENT_MS: Final = 100.0


@dataclass(frozen=True, slots=True)
class Codec:
    """A codec as G.113 appendix I knows it.

    Attributes:
        title: Its name for people.
        ie: Equipment impairment factor without loss.
        bpl: Packet-loss robustness factor.
    """

    title: str
    ie: float
    bpl: float


CODECS: Final[Mapping[str, Codec]] = {
    "g711": Codec("G.711 without loss concealment", 0, 4.3),
    "g711-plc": Codec("G.711 with loss concealment", 0, 25.1),
    "g729a": Codec("G.729A with voice activity detection", 11, 19),
}
"""ITU-T G.113 appendix I, from a secondary source."""
USUAL_CODEC: Final = "g711-plc"

_SATISFACTION: Final = (
    (90, "users very satisfied"),
    (80, "users satisfied"),
    (70, "some users dissatisfied"),
    (60, "many users dissatisfied"),
    (50, "nearly all users dissatisfied"),
)
"""ITU-T G.107 annex B and G.109, from memory; the rating at which each begins."""


@dataclass(frozen=True, slots=True)
class Voice:
    """How a call would be rated.

    Attributes:
        r: The transmission rating factor R.
        mos: The mean opinion score of it, 1 to 4.5 (MOS-CQE).
        delay_impairment: What the delay takes off R (Idd).
        loss_impairment: What codec and loss take off R (Ie,eff).
    """

    r: float
    mos: float
    delay_impairment: float
    loss_impairment: float


def call(delay_s: float, loss_ratio: float, codec: Codec, burst_ratio: float = 1) -> Voice:
    """Rate a call with echo fully controlled.

    Args:
        delay_s: From mouth to ear, one way.
        loss_ratio: Share of packets lost on the way.
        codec: The codec.
        burst_ratio: How much longer runs of loss are than random ones; see `burst_ratio`.
    """
    loss = loss_impairment(codec, loss_ratio, burst_ratio)
    r = rating(absolute_delay_s=delay_s, equipment_impairment=loss)
    return Voice(r, mean_opinion(r), delay_impairment(delay_s), loss)


def line(rtt_s: float, loss_ratio: float, codec: Codec, runs: LossRuns | None = None) -> Voice:
    """Rate a call over a line that was measured by round trips.

    The delay from mouth to ear is half the round trip, one packet's length and the de-jitter buffer. That both ways
    are alike is an assumption; the round trip alone cannot tell.

    Args:
        rtt_s: Round-trip time; its 95th percentile over answered probes, since a buffer has to wait for most.
        loss_ratio: Share of probes without an answer. It is the loss of both ways together, so that of one way is less.
        codec: The codec.
        runs: The runs of loss; None where they are not known.
    """
    burst = burst_ratio(runs, loss_ratio) if runs else 1
    return call(rtt_s / 2 + PACKET_S + BUFFER_S, loss_ratio, codec, burst)


def burst_ratio(runs: LossRuns, loss_ratio: float) -> float:
    """Return how much longer the runs of loss are than those of random loss; 1 of too few runs, and at the least.

    Source: ITU-T G.107 (BurstR): mean length seen over the mean length of random loss, which is 1 / (1 - p).
    """
    mean_length = runs.mean_length
    if mean_length is None or runs.runs < FEWEST_RUNS:
        return 1
    return max(1, float(mean_length) * (1 - loss_ratio))


def loss_impairment(codec: Codec, loss_ratio: float, burst_ratio: float = 1) -> float:
    """Return Ie,eff: what the codec and the loss of packets take off the rating.

    Source: ITU-T G.107: Ie + (95 - Ie) Ppl / (Ppl / BurstR + Bpl), with Ppl in percent.
    """
    lost = loss_ratio * 100
    return codec.ie + (95 - codec.ie) * lost / (lost / burst_ratio + codec.bpl)


def delay_impairment(delay_s: float) -> float:
    """Return Idd: what the absolute delay Ta takes off the rating; nothing up to 100 ms (ITU-T G.107)."""
    delay_ms = delay_s * 1000
    if delay_ms <= _NO_DELAY_IMPAIRMENT_MS:
        return 0.0
    x = math.log2(delay_ms / _NO_DELAY_IMPAIRMENT_MS)
    return 25 * (_bend(x, 6) - 3 * _bend(x / 3, 6) + 2)


def rating(*, absolute_delay_s: float, echo_delay_s: float = 0, equipment_impairment: float = 0) -> float:
    """Return R of the whole model, R = Ro - Is - Id - Ie,eff, with no advantage factor.

    Args:
        absolute_delay_s: Ta, from mouth to ear, one way.
        echo_delay_s: T, one way along the echo's path, with Tr twice that; 0 where echo is fully controlled.
        equipment_impairment: Ie,eff.

    Source: ITU-T G.107, all other parameters at their defaults.
    """
    echo_ms = echo_delay_s * 1000
    echo = _talker_echo(echo_ms) + _listener_echo(2 * echo_ms)
    return _RO - _simultaneous(echo_ms) - echo - delay_impairment(absolute_delay_s) - equipment_impairment


def mean_opinion(r: float) -> float:
    """Return the mean opinion score of a rating (ITU-T G.107 annex B), 1 to 4.5."""
    held = min(max(r, 0), _BEST_R)
    return max(1.0, 1 + 0.035 * held + held * (held - 60) * (100 - held) * 7e-6)


def satisfaction(r: float) -> str:
    """Return what users would say of a rating, in the words of ITU-T G.107 annex B."""
    return next((words for least, words in _SATISFACTION if r >= least), "not recommended")


def delay_band(delay_s: float) -> str:
    """Return what ITU-T G.114 says of a one-way delay, from mouth to ear."""
    if delay_s > 0.4:  # noqa: PLR2004 - G.114's own bounds
        return "too long for planning"
    return "short enough for most uses" if delay_s <= 0.15 else "acceptable where its effect is known"  # noqa: PLR2004


def _bend(x: float, sharpness: int) -> float:
    """Return the curve that G.107 bends from 1 to x with: (1 + x^n)^(1/n)."""
    return math.pow(1 + math.pow(x, sharpness), 1 / sharpness)


def _noise() -> float:
    """No: all noise at the 0 dBr point, in dBm0p."""
    room = _PR + 10 * math.log10(1 + 10 ** ((10 - (_STMR + _DR)) / 10))
    sender = _PS - _SLR - _DS - 100 + 0.004 * (_PS - (_SLR + _RLR) - _DS - 14) ** 2
    receiver = _RLR - 121 + room + 0.008 * (room - 35) ** 2
    return 10 * math.log10(sum(10 ** (noise / 10) for noise in (_NC, sender, receiver, _NFOR + _RLR)))


_NO: Final = _noise()
_RO: Final = 15 - 1.5 * (_SLR + _NO)


def _simultaneous(echo_ms: float) -> float:
    """Is: what comes with the voice itself: its loudness, its sidetone, its quantizing."""
    loudness = (_SLR + _RLR + 0.2 * (64 + _NO - _RLR)) / 8
    too_loud = 20 * (_bend(loudness, 8) - loudness)
    q = 37 - 15 * math.log10(_QDU)
    g = 1.07 + 0.258 * q + 0.0602 * q**2
    quantizing = 15 * math.log10(1 + 10 ** ((_RO - 100) / 15 + 46 / 8.4 - g / 9) + 10 ** (46 / 30 - g / 40))
    return too_loud + _sidetone(echo_ms) + quantizing


def _sidetone(echo_ms: float) -> float:
    """Ist, from STMRo."""
    heard = -10 * math.log10(10 ** (-_STMR / 10) + math.exp(-echo_ms / 4) * 10 ** (-_TELR / 10))
    low, far, near = (heard - 13) / 6, (heard + 1) / 19.4, (heard - 3) / 33
    return 12 * _bend(low, 8) - 28 * _bend(far, 35) - 13 * _bend(near, 13) + 29


def _talker_echo(echo_ms: float) -> float:
    """Idte; nothing below a millisecond."""
    if echo_ms < 1:
        return 0.0
    loudness = _TELR - 40 * math.log10((1 + echo_ms / 10) / (1 + echo_ms / 150)) + 6 * math.exp(-0.3 * echo_ms**2)
    distance = (-1.5 * (_NO - _RLR) - (80 + 2.5 * (loudness - 14))) / 2
    return (distance + math.sqrt(distance**2 + 100) - 1) * (1 - math.exp(-echo_ms))


def _listener_echo(round_trip_ms: float) -> float:
    """Idle."""
    distance = (_RO - 10.5 * (_WEPL + 7) * math.pow(round_trip_ms + 1, -0.25)) / 2
    return distance + math.sqrt(distance**2 + 169)
