"""The commands that are about the configuration itself: each prints, and returns the exit code."""

import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from wanwatch.config.datause import MONTH_S, monthly_bytes, sign_bytes
from wanwatch.config.machine import machine_facts
from wanwatch.config.mistakes import ConfigError, Mistake
from wanwatch.config.plan import inspected, questions
from wanwatch.config.propose import propose
from wanwatch.config.reader import find, load
from wanwatch.config.remarks import remarks
from wanwatch.config.schema import Config
from wanwatch.config.testuse import monthly_test_bytes, most_bytes
from wanwatch.config.units import show_duration
from wanwatch.config.uplink import Uplink
from wanwatch.core.model import NS_PER_S, UNPINNED, Kind, Question
from wanwatch.core.shown import shown


def check(path: Path | None, more: Callable[[Config], Sequence[str]] = lambda _config: ()) -> int:
    """Print what the configuration will do, or all that is wrong with it.

    Args:
        path: The file; None for the usual places.
        more: Gives further remarks: what the record has to say of the configuration.

    Returns:
        0 if it can be used, 2 if not.
    """
    try:
        found = find(path)
        text = f"{found}: fit to use\n\n{summary(config := load(found), more(config))}"
    except ConfigError as error:
        many = f"{len(error.mistakes)} mistakes" if len(error.mistakes) > 1 else "1 mistake"
        sys.stderr.write(f"{many} in the configuration:\n{error}\n")
        return 2
    sys.stdout.write(text.rstrip("\n") + "\n")
    return 0


def init(out: Path | None) -> int:
    """Print a proposed configuration, or write it to *out*, never over what is there.

    Raises:
        ConfigError: The file is there already, or cannot be written.
    """
    text = propose(machine_facts())
    if out is None:
        sys.stdout.write(text)
        return 0
    try:
        with out.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        mistake = Mistake(str(out), None, "there is a file of this name already", "name another one, or move it away")
        raise ConfigError([mistake]) from None
    except OSError as error:
        reason = f"cannot be written: {error.strerror}"
        raise ConfigError([Mistake(str(out), None, reason, "name a file in a folder of yours")]) from error
    sys.stdout.write(f"{out}: written. Read it, then: wanwatch check {out}\n")
    return 0


def summary(config: Config, more: Sequence[str] = ()) -> str:
    """Return what *config* will do, for a person to read, with the remarks on it and *more* of them."""
    return "\n".join(_lines(config, [*remarks(config), *more])) + "\n"


def _lines(config: Config, said: Sequence[str]) -> Iterator[str]:
    site = config.site
    plan = questions(config)
    all_of_it = (*plan, *inspected(config))
    yield f"Site {site.name} ({site.timezone})"
    yield f"Record in {site.data_dir}, raw samples kept {show_duration(site.keep_raw_ns)}"
    yield f"Status page and metrics on {config.listen.place}{_to_whom(config)}"
    yield ""
    yield "Uplinks, in order of preference:"
    for number, uplink in enumerate(config.uplinks, start=1):
        yield f"  {number}. {uplink.name}: pinned by {pin_text(uplink)}" + ("; metered" if uplink.metered else "")
        yield from _asked([question for question in plan if question.series.uplink == uplink.name])
        yield from _used([question for question in all_of_it if question.series.uplink == uplink.name])
        yield from _tested(config, uplink)
    yield "  Ordinary traffic, whichever uplink carries it:"
    yield from _asked(unpinned := [question for question in plan if question.series.uplink == UNPINNED])
    yield from _used(unpinned)
    if sent := list(_sent(config)):
        yield ""
        yield "Sent, by a line that works:"
        yield from (f"  {line}" for line in sent)
    if said:
        yield ""
        yield "Worth knowing:"
        yield from (f"  - {remark}" for remark in said)


def _to_whom(config: Config) -> str:
    listen = config.listen
    holders = ["the password"] * (listen.password is not None) + ["a token"] * bool(listen.tokens)
    told = f", for holders of {' or '.join(holders)}" if holders else ""
    return (", by TLS" if listen.certificate else "") + told


def _sent(config: Config) -> Iterator[str]:
    for notice in config.notices:
        report = "; the month's report" * notice.report
        yield f"notices of {', '.join(notice.on) or 'nothing else'} to {shown(notice.to)}{report}"
    for receiver in config.remote_writes:
        way = ", though by any of this machine's routes" * (receiver.through == "any")
        yield f"the record, minute by minute, to {shown(receiver.url)}{way}"
    if config.ping is not None:
        month = sign_bytes(config.ping.url) * MONTH_S * NS_PER_S // config.ping.every_ns
        every = show_duration(config.ping.every_ns)
        yield f"a sign of life to {shown(config.ping.url)}, every {every}: about {month / 10**6:.0f} MB in 30 days"


def pin_text(uplink: Uplink) -> str:
    """Return an uplink's pin in words."""
    pin = uplink.pin
    parts = {
        "interface": pin.interface,
        "source": " and ".join(pin.sources),
        "mark": pin.mark and hex(pin.mark),
        "dscp": pin.dscp,
    }
    told = [f"{key} {value}" for key, value in parts.items() if value not in {None, ""}]
    return ", ".join(told) or "its targets, which the gateway routes one way only"


def _asked(plan: list[Question]) -> Iterator[str]:
    for question in plan:
        yield (
            f"       {question.series.target}: {_how(question)}, every {show_duration(question.every_ns)}, "
            f"lost after {show_duration(question.timeout_ns)}"
        )


def _used(plan: Sequence[Question]) -> Iterator[str]:
    fetches = ", if each page is a long one" * any(question.series.kind is Kind.HTTP for question in plan)
    yield f"       about {monthly_bytes(plan) / 10**6:.0f} MB over the line in 30 days{fetches}"


def _tested(config: Config, uplink: Uplink) -> Iterator[str]:
    speed = config.speed
    if speed is not None and speed.at is not None:
        held = ", held to what its data_budget leaves" * (uplink.data_budget_bytes is not None)
        each, month = most_bytes(speed, uplink) / 10**6, monthly_test_bytes(speed, uplink) / 10**9
        yield f"       and at most {each:.0f} MB each speed test, {month:.3g} GB in 30 days{held}"


def _how(question: Question) -> str:
    port = f" port {question.port}" if question.port else ""
    asked = f" for {question.ask}" if question.ask else ""
    return f"{question.series.kind} {question.address}{port}{asked}"
