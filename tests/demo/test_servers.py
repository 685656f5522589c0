"""Each server answers over the sender's line: late, seldom, or not at all."""

import asyncio
import contextlib
import socket
import time
from collections.abc import AsyncIterator
from dataclasses import replace

import aiohttp
import dns.message
import dns.rcode
import pytest

from wanwatch.core.wire import stamp, stun
from wanwatch.demo.office import COPPER, FIBRE, LINES, QUIET, Scene
from wanwatch.demo.roads import Roads
from wanwatch.demo.servers import USUAL, Place, Places, free_place, serving

UNPINNED = None  # an unbound socket; the kernel picks its source address
SOURCES = (FIBRE.source, COPPER.source, UNPINNED)
QUERY = dns.message.make_query("www.example.com", "A")
QUESTIONS = {
    "near": stamp.build_sender(stamp.SenderPacket(sequence=7, timestamp=1)),
    "resolvers": QUERY.to_wire(),
    "stun": stun.build_request(b"transaction!"),
}


@pytest.fixture
def roads() -> Roads:
    """A good day without chance."""
    return Roads(QUIET, chance=lambda: 0.999)


@pytest.fixture
async def places(roads: Roads) -> AsyncIterator[Places]:
    """All servers, running."""
    async with serving(roads) as running:
        yield running


def place_of(places: Places, server: str) -> Place:
    """The first place of that name."""
    found = getattr(places, server)
    return found if isinstance(found, Place) else found[0]


async def ask(place: Place, question: bytes, source: str | None) -> bytes | None:
    """Ask over UDP; None if there is no answer within a quarter of a second."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK) as sock:
        if source is not None:
            sock.bind((source, 0))
        sock.connect(place)
        sock.send(question)
        with contextlib.suppress(TimeoutError):
            return await asyncio.wait_for(asyncio.get_running_loop().sock_recv(sock, 4096), 0.25)
    return None


async def shakes_hands(place: Place, source: str | None) -> bool:
    """Connect over TCP; False if nobody answers within a quarter of a second. A refusal fails the test."""
    local = None if source is None else (source, 0)
    with contextlib.suppress(TimeoutError):
        _, writer = await asyncio.wait_for(asyncio.open_connection(*place, local_addr=local), 0.25)
        writer.close()
        return True
    return False


async def heard_by(places: Places, server: str) -> list[bool]:
    """Whether each of `SOURCES` gets an answer."""
    place = place_of(places, server)
    if server in QUESTIONS:
        return [await ask(place, QUESTIONS[server], source) is not None for source in SOURCES]
    return [await shakes_hands(place, source) for source in SOURCES]


FIBRE_CUT = QUIET.with_line("fibre", replace(FIBRE.usual, silent=True))
SILENCES = [
    (QUIET, [True, True, True]),
    (FIBRE_CUT, [False, True, False]),
    (FIBRE_CUT.carried_by("copper"), [False, True, True]),
    (QUIET.with_line("copper", replace(COPPER.usual, silent=True)), [True, False, True]),
    (QUIET.carried_by(None), [True, True, False]),
]


@pytest.mark.parametrize("server", ["near", "resolvers", "stun", "till", "web"])
async def test_each_server_is_silent_to_those_whose_line_is(roads: Roads, places: Places, server: str) -> None:
    """A silent line hears nothing, not even a handshake; the other line is not troubled; and all is heard again."""
    for scene, heard in [*SILENCES, SILENCES[0]]:
        roads.change(scene)
        assert await heard_by(places, server) == heard


@pytest.mark.parametrize(("line", "least_s"), [(FIBRE, 0.009), (COPPER, 0.031)])
async def test_an_answer_takes_as_long_as_its_line(places: Places, line: object, least_s: float) -> None:
    """The delay is the line's, and no more than the loop's own slack on top."""
    began_s = time.monotonic()
    assert await ask(places.near, QUESTIONS["near"], getattr(line, "source", "")) is not None
    assert least_s <= time.monotonic() - began_s < least_s + 0.1


async def test_the_stamp_server_reflects(places: Places) -> None:
    """RFC 8762 section 4.3: the sender's sequence comes back; the delay is the road's, not the server's."""
    answer = stamp.parse_reflector(await ask(places.far, QUESTIONS["near"], FIBRE.source) or b"")
    assert isinstance(answer, stamp.ReflectorPacket)
    assert answer.sender_sequence == 7
    assert answer.timestamp == answer.receive_timestamp


@pytest.mark.parametrize(
    ("source", "carrying", "seen"),
    [
        (FIBRE.source, "fibre", "198.51.100.11"),
        (COPPER.source, "fibre", "203.0.113.12"),
        (UNPINNED, "fibre", "198.51.100.11"),
        (UNPINNED, "copper", "203.0.113.12"),
    ],
)
async def test_stun_tells_who_carries(
    roads: Roads, places: Places, source: str | None, carrying: str, seen: str
) -> None:
    """RFC 8489 section 14.2: the address that the far end sees; here the line's documentation address."""
    roads.change(QUIET.carried_by(carrying))
    answer = stun.parse(await ask(places.stun[0], QUESTIONS["stun"], source) or b"")
    assert isinstance(answer, stun.Message)
    assert answer.transaction == b"transaction!"
    assert answer.mapped is not None
    assert answer.mapped.address == seen


@pytest.mark.parametrize(("name", "rcode", "answers"), [("www.example.com", 0, 1), ("nowhere.example", 3, 0)])
async def test_the_resolver_knows_one_name(places: Places, name: str, rcode: int, answers: int) -> None:
    """RFC 1035 section 4.1.1: NOERROR with the address, or NXDOMAIN."""
    query = dns.message.make_query(name, "A")
    answer = dns.message.from_wire(await ask(places.resolvers[1], query.to_wire(), COPPER.source) or b"")
    assert query.is_response(answer)
    assert (answer.rcode(), len(answer.answer)) == (rcode, answers)


@pytest.mark.parametrize("server", ["near", "resolvers", "stun"])
async def test_noise_gets_no_answer(places: Places, server: str) -> None:
    """What is no question of the protocol is passed over, and the server lives on."""
    place = place_of(places, server)
    assert await ask(place, b"noise", FIBRE.source) is None
    assert await ask(place, QUESTIONS[server], FIBRE.source) is not None


async def fetch(place: Place, source: str, timeout_s: float) -> str | None:
    """Fetch the page; None if the time runs out."""
    connector = aiohttp.TCPConnector(local_addr=(source, 0))
    timeout = aiohttp.ClientTimeout(total=timeout_s)
    async with aiohttp.ClientSession(connector=connector, timeout=timeout) as session:
        with contextlib.suppress(TimeoutError):
            async with session.get(f"http://{place}/") as response:
                return await response.text()
    return None


async def test_the_page_is_served_over_each_line(roads: Roads, places: Places) -> None:
    """Real HTTP; over a silent line there is no page."""
    assert "hello" in (await fetch(places.web, COPPER.source, 2) or "")
    roads.change(FIBRE_CUT)
    assert await fetch(places.web, FIBRE.source, 0.3) is None
    assert await fetch(places.web, COPPER.source, 2) is not None


async def test_a_connection_that_was_open_before_the_cut_goes_silent_too(roads: Roads, places: Places) -> None:
    """A request sent over a line that fell silent after the handshake waits, and is answered once it is heard again."""
    reader, writer = await asyncio.open_connection(*places.web, local_addr=(FIBRE.source, 0))
    roads.change(FIBRE_CUT)
    writer.write(b"GET / HTTP/1.1\r\nHost: demo\r\n\r\n")
    with pytest.raises(TimeoutError):
        await asyncio.wait_for(reader.read(1), 0.3)
    roads.change(QUIET)
    assert (await asyncio.wait_for(reader.readline(), 2)).startswith(b"HTTP/1.1 200")
    writer.close()


async def test_loss_is_the_lines_own(places: Places, roads: Roads) -> None:
    """With chance below the ratio every packet of that line is lost, and none of the other line's."""
    lossy = QUIET.with_line("fibre", replace(FIBRE.usual, loss_ratio=1.0))
    roads.change(lossy)
    heard = [await ask(places.near, QUESTIONS["near"], line.source) is not None for line in LINES]
    assert heard == [False, True]


async def test_a_lossy_line_loses_handshakes_too(places: Places, roads: Roads) -> None:
    """Half of the line's newcomers are not heard, none of the other line's.

    Binomial: of 40 at one half, fewer than 5 or more than 35 come once in five million runs.
    """
    roads.change(QUIET.with_line("fibre", replace(FIBRE.usual, loss_ratio=0.5)))
    for source, least, most in ((FIBRE.source, 5, 35), (COPPER.source, 40, 40)):
        assert least <= sum(await asyncio.gather(*(shakes_hands(places.till, source) for _ in range(40)))) <= most


async def test_a_port_in_use_is_no_obstacle(roads: Roads) -> None:
    """Two demos can run side by side: the second one takes free ports."""
    async with serving(roads) as first, serving(roads) as second:
        assert first.near.address == second.near.address
        assert {first.near.port, first.web.port}.isdisjoint({second.near.port, second.web.port})
        assert await ask(second.near, QUESTIONS["near"], FIBRE.source) is not None


def test_a_free_port_is_taken_as_wished() -> None:
    """Only a port in use is replaced."""
    with socket.create_server(("127.20.1.3", 0)) as holder:
        taken = Place(*holder.getsockname())
        other = free_place(taken, socket.SOCK_STREAM)
        assert other.address == taken.address
        assert other.port not in (0, taken.port)
    assert free_place(taken, socket.SOCK_STREAM) == taken


def test_no_server_needs_a_privilege() -> None:
    """Ports below 1024 are root's; the demo must run without."""
    ports = [USUAL.near.port, USUAL.far.port, USUAL.till.port, USUAL.web.port]
    ports += [place.port for place in (*USUAL.resolvers, *USUAL.stun)]
    assert min(ports) >= 1024


def test_watchers_see_the_scene_at_once_and_at_each_change(roads: Roads) -> None:
    """A listener's filter is right from the first packet on."""
    seen: list[Scene] = []
    roads.watch(seen.append)
    roads.change(FIBRE_CUT)
    assert seen == [QUIET, FIBRE_CUT]
    assert roads.scene is FIBRE_CUT
