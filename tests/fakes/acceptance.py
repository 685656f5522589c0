"""An invented acceptance test, and a later one of the same line that has become worse."""

from collections.abc import Sequence
from dataclasses import replace

from tests.fakes.month import SUBJECT
from tests.fakes.record import FakeRecord
from wanwatch.core.acceptance import About, Break, Handover, Item, Photograph, Progress, Step, Verdict, line
from wanwatch.core.acceptance.failover import not_rehearsed
from wanwatch.core.acceptance.handover import judge
from wanwatch.core.acceptance.limits import ETHERNET_MTU
from wanwatch.core.acceptance.line import LineSeen, MtuSeen, PortSeen
from wanwatch.core.acceptance.traffic import Heard, delays, losses
from wanwatch.core.model import NS_PER_S, Json, Measurement, MeasurementKind
from wanwatch.core.resolving import NOERROR, NXDOMAIN, NamesAnswer, Purpose
from wanwatch.core.way import Nat
from wanwatch.report.subject import Subject

STARTED = 1_793_610_000 * NS_PER_S
GIVEN = Handover(
    medium="fibre", circuit="EX-0001-DROP", public_address=True, port_bps=10**9, duplex="full", light_dbm=-18.4,
    wavelength_nm=1490, light_class="B+", entering_dbm=-17.1, length_m=350.0, splices=2, connectors=2,
    cable="G.657.A2", bend_radius_mm=15.0,
    photographs=(Photograph("terminal.jpg", 2_481_330, "3f" * 32), Photograph("duct.jpg", 1_904_118, "a0" * 32)),
)  # fmt: skip
SEEN = LineSeen(
    proved=True, nat=Nat.ONCE, source="10.20.0.11", public="198.51.100.10", hops=("10.20.0.1", "198.51.100.1")
)
_FLOOR = "contract"


def _speed(about: About, mbps: float, limit: float) -> Item:
    verdict = Verdict.PASS if mbps >= limit else Verdict.FAIL
    reason = "" if mbps >= limit else "3 of 3 tests fell below it, held up by the line."
    return Item(
        about=about, verdict=verdict, value=f"{mbps:g} Mbit/s, {mbps / 941.5:.0%} of the handoff",
        limit=f"at least {limit:g} Mbit/s in 95% of tests", source=_FLOOR, reason=reason, figure=mbps * 1e6,
    )  # fmt: skip


def _load(about: About, p95_ms: float) -> Item:
    return Item(
        about=about, verdict=Verdict.PASS, value=f"p95 {p95_ms:g} ms, idle 9.1 ms", limit="p95 at most 200 ms",
        source="stated default: ITU-T Y.1541 class 0, 100 ms each way", figure=p95_ms / 1000,
    )  # fmt: skip


def _steps(given: Handover, down_mbps: float, resolver: str) -> dict[Step, Sequence[Item]]:
    answers = [
        NamesAnswer("fibre", resolver, Purpose.KNOWN, "www.example.com", NOERROR, ("192.0.2.80",)),
        NamesAnswer("fibre", resolver, Purpose.ABSENT, "0a1b.invalid", NXDOMAIN),
    ]
    found = {"near": Heard((0.0087,) * 90), "far": Heard((0.0194,) * 90)}
    soak = {"near": Heard((0.0087,) * 900), "far": Heard((0.0194,) * 899, lost=1)}
    return {
        Step.PIN: [line.pin(SEEN)],
        Step.ADDRESS: [line.address(SEEN, given)],
        Step.GATEWAY: [line.gateway("10.20.0.1", 5, 5, beyond=True)],
        Step.PORT: [line.port(PortSeen("lan0", 10**9, "full", ends_here=False), given, 10**9)],
        Step.MTU: line.mtu([MtuSeen(4, 1500)], ETHERNET_MTU),
        Step.RESOLVERS: line.resolvers([resolver], answers),
        Step.DELAY: delays(found, {}),
        Step.LOSS: losses(soak, {}, 900.0),
        Step.SPEED: [
            _speed(About.SPEED_DOWN, down_mbps, 450), _speed(About.SPEED_UP, 108.2, 100),
            _load(About.LOAD_DOWN, 22.4), _load(About.LOAD_UP, 41.0),
        ],
        Step.FAILOVER: [not_rehearsed("It was not wanted.")],
        Step.HANDOVER: judge(given),
    }  # fmt: skip


def one_test(
    given: Handover = GIVEN, *, started_unix_ns: int = STARTED, down_mbps: float = 870.4, resolver: str = "192.0.2.53",
    steps: int = len(Step), left: bool = False,
) -> Progress:  # fmt: skip
    """One test, with so many of its steps done."""
    progress = Progress(started_unix_ns=started_unix_ns, kept_unix_ns=started_unix_ns, handover=given)
    for number, (step, items) in enumerate(list(_steps(given, down_mbps, resolver).items())[:steps], 1):
        progress = progress.after(step, tuple(items), started_unix_ns + number * 120 * NS_PER_S)
    at_unix_ns = started_unix_ns + 900 * NS_PER_S
    breaks = (Break(Step.DELAY, at_unix_ns, at_unix_ns + 300 * NS_PER_S),) if left else ()
    return replace(progress, breaks=breaks)


def later(given: Handover = GIVEN) -> Progress:
    """A test half a year later: less light, and slower."""
    worse = replace(given, light_dbm=-24.9, entering_dbm=None, length_m=None)
    return one_test(worse, started_unix_ns=STARTED + 180 * 86_400 * NS_PER_S, down_mbps=212.7)


def record(*tests: Progress, subject: Subject = SUBJECT) -> FakeRecord:
    """A record that holds these tests."""
    kept = FakeRecord(subject.site, [], [], [])
    more: dict[str, Json] = {
        "amount": {"soak_s": 900.0, "tests": 3}, "clock": {"synchronised": True, "max_error_s": 0.0042},
    }  # fmt: skip
    kept.measured = [
        Measurement(test.started_unix_ns, "fibre", MeasurementKind.ACCEPTANCE, {**test.to_json(), **more})
        for test in tests
    ]
    return kept
