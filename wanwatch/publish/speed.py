"""Speed, for people: what a test gave beside what could be and what is sold, and what TCP can carry at best."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from fractions import Fraction
from typing import Final
from zoneinfo import ZoneInfo

from wanwatch.core.account.calendar import local_time
from wanwatch.core.account.goodput import Framing, frame_rate, goodput_bps, packet_bps, tier_goodput_bps, window_bytes
from wanwatch.core.account.responsiveness import REVISION, grade
from wanwatch.core.account.speed import STEADY_BINS, Mark, goodput
from wanwatch.core.account.speed_result import WORDS, Delay, Direction, Ending, Run, SpeedResult
from wanwatch.core.model import NS_PER_S
from wanwatch.publish.columns import columns

_TITLES: Final = {Direction.DOWN: "down", Direction.UP: "up"}
_BAR: Final = 30
_NOTHING: Final = "-"


def rate(bps: float) -> str:
    """Return bits a second as people read them."""
    for unit, size in (("Gbit/s", 10**9), ("Mbit/s", 10**6), ("kbit/s", 10**3)):
        if bps >= size:
            return f"{bps / size:.4g} {unit}"
    return f"{bps:.4g} bit/s"


def progress(direction: Direction, marks: Sequence[Mark], seconds: float) -> str:
    """Return one line of progress: how much of the time has gone by, and the rate of the last second."""
    done = min(1.0, (marks[-1].at_ns - marks[0].at_ns) / NS_PER_S / seconds)
    latest = goodput(marks[-STEADY_BINS - 1 :])
    bar = "█" * round(done * _BAR)
    return f"{_TITLES[direction]:5} {bar:·<{_BAR}} {rate(latest.bps) if latest else '':>14}"


def speed_text(result: SpeedResult, sold_bps: Mapping[Direction, float], timezone: str) -> str:
    """Return a test as a page for a terminal.

    Args:
        result: The test.
        sold_bps: What the contract promises, where it does.
        timezone: In which its instant is told.
    """
    at = local_time(result.at_unix_ns, ZoneInfo(timezone)).isoformat(sep=" ", timespec="seconds")
    head = f"{result.uplink}, {at}, against {result.server}\n\n"
    cells = [_column(run, sold_bps.get(run.direction)) for run in result.runs]
    names = [name for name in cells[0] if any(column[name] != _NOTHING for column in cells)]
    rows = [(name, *(column[name] for column in cells)) for name in names]
    troubles = "".join(f"- {line}\n" for run in result.runs for line in _remarks(run))
    title = ("", *(_TITLES[run.direction] for run in result.runs))
    return head + columns([title, *rows]) + (f"\n{troubles}" if troubles else "")


def _column(run: Run, sold_bps: float | None) -> dict[str, str]:
    found, tcp = run.goodput, run.tcp
    bps = found.bps if found else None
    return {
        "goodput": rate(found.bps) if found else "not measured",
        "  between": f"{rate(found.low_bps)} and {rate(found.high_bps)}" if found else _NOTHING,
        "  of what is sold": _share(bps, sold_bps),
        "  of the best possible": _share(bps, run.best_bps),
        "measured for": f"{found.seconds:.1f} s, after {run.warm_up_s or 0:.1f} s to warm up" if found else _NOTHING,
        "over": _over(run),
        "delay idle": _delay(run.idle),
        "delay under load": _delay(run.loaded),
        "round trips a minute": _round_trips(run),
        "sent just once": _some(tcp.efficiency if tcp else None, lambda share: f"{share:.3%}"),
        "buffer delay": _some(tcp.buffer_delay if tcp else None, lambda share: f"{share:.0%}"),
        "other traffic": _some(run.others_bps, lambda bps: rate(bps) + (", too much" if run.busy else "")),
        "limited by": run.limited_by.value if found else _NOTHING,
        "counts": "yes" if run.counts else "no",
    }


def _some(value: float | None, say: Callable[[float], str]) -> str:
    return _NOTHING if value is None else say(value)


def _share(part: float | None, whole: float | None) -> str:
    return f"{part / whole:.1%} of {rate(whole)}" if part is not None and whole else _NOTHING


def _over(run: Run) -> str:
    if run.ip is None:
        return _NOTHING
    return f"{run.connections} TCP connections, IPv{run.ip}{', TLS' if run.tls else ''}"


def _delay(seen: Delay | None) -> str:
    if seen is None or seen.median_s is None or seen.high_s is None:
        return _NOTHING
    return f"{seen.median_s * 1e3:.1f} ms, p95 {seen.high_s * 1e3:.1f} ms, {seen.loss_ratio or 0:.1%} lost"


def _round_trips(run: Run) -> str:
    found = run.responsiveness
    if found is None:
        return _NOTHING
    if found.rpm is not None:
        return f"{found.rpm:.0f}, {grade(found.rpm).value}"
    return _some(found.foreign, lambda rpm: f"{rpm:.0f} beside the load")


def _remarks(run: Run) -> Iterator[str]:
    name = _TITLES[run.direction]
    if run.ending is not Ending.DONE:
        yield f"{name}: {WORDS[run.ending]}{f' ({run.why})' if run.why else ''}"
    if run.goodput is None:
        return
    yield f"{name}: {run.sign}"
    if run.busy:
        yield f"{name}: the line carried other traffic meanwhile, so this says nothing against the line"
    elif not run.counts:
        yield f"{name}: it was not the line that showed as the limit, so this says nothing against the line"
    if not run.steady:
        yield f"{name}: the rate had not become steady after {run.warm_up_s or 0:.1f} s"
    if run.responsiveness is not None:
        yield f"{name}: round trips a minute are those of {REVISION}"


def goodput_text(link_bps: int, framing: Framing, tier_bps: int | None, delay_ns: int | None) -> str:
    """Say how fast TCP can be at best over a port of *link_bps* and, if given, under what is sold."""
    best = [(variant, goodput_bps(link_bps, variant)) for variant in framing.variants()]
    rows = [(_named(variant), f"{variant.payload_bytes} bytes", _mbps(bps)) for variant, bps in best]
    packets = ("whole IP packets", f"{framing.mtu} bytes", _mbps(packet_bps(link_bps, framing)))
    frames = int(frame_rate(link_bps, framing.frame_bytes))
    text = (
        f"{framing.wire_bytes} bytes of wire time carry one IP packet of {framing.mtu}, so a port of "
        f"{rate(link_bps)} carries {frames} a second, and at best\n\n{columns([*rows, packets])}"
    )
    if tier_bps is not None:
        text += f"\nWhere {rate(tier_bps)} is sold, by what the provider counts\n\n{_tier(link_bps, framing, tier_bps)}"
    if delay_ns is not None:
        window = window_bytes(float(best[0][1]), delay_ns / NS_PER_S)
        text += (
            f"\nA window of {window / 1000:.2f} kB fills it over {delay_ns / 10**6:g} ms (RFC 6349 section 3.3.1).\n"
        )
    return text + f"\n{GOODPUT_SOURCES}\n"


GOODPUT_SOURCES: Final = "IEEE 802.3 and 802.1Q, RFC 2516 and RFC 4638 (PPPoE), RFC 791, RFC 8200, RFC 9293, RFC 7323."


def _tier(link_bps: int, framing: Framing, tier_bps: int) -> str:
    heads = ("", "IP packets", "Ethernet frames")
    rows = []
    for variant in framing.variants():
        most = goodput_bps(link_bps, variant)
        each = [min(most, tier_goodput_bps(tier_bps, variant, of_frames=frames)) for frames in (False, True)]
        rows.append((_named(variant), *(_mbps(bps) for bps in each)))
    return columns([heads, *rows])


def _named(framing: Framing) -> str:
    return f"TCP over IPv{framing.ip}{', timestamps' if framing.timestamps else ''}"


def _mbps(bps: Fraction) -> str:
    return f"{float(bps / 10**6):12.6f} Mbit/s"
