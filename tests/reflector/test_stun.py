"""The reflector answers STUN Binding requests as RFC 8489 asks, and with no more than it was asked."""

import asyncio
import socket

import pytest

from wanwatch.core.wire import stun
from wanwatch.reflector import StunServer
from wanwatch.reflector.stun import answer, plain

TRANSACTION = bytes(range(12))
SMALLEST = bytes.fromhex("000100002112a442") + TRANSACTION


async def exchange(address: str, port: int, request: bytes) -> tuple[bytes, stun.Mapped]:
    """Ask once; the answer, and where it was asked from."""
    with socket.socket(socket.AF_INET6 if ":" in address else socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.setblocking(False)  # noqa: FBT003 - the call's own shape
        sock.connect((address, port))
        sock.send(request)
        data = await asyncio.wait_for(asyncio.get_running_loop().sock_recv(sock, 2000), 0.5)
        return data, stun.Mapped(*sock.getsockname()[:2])


@pytest.mark.parametrize(("listens", "asked"), [("127.0.0.1", "127.0.0.1"), ("::1", "::1"), ("::", "127.0.0.3")])
async def test_our_own_request_is_told_where_it_came_from(listens: str, asked: str) -> None:
    """RFC 8489 section 6.3.1: the source transport address; an IPv4 address stays one on a socket of both families."""
    server = StunServer(listens, 0)
    try:
        data, own = await exchange(asked, server.port, stun.build_request(TRANSACTION))
    finally:
        server.close()
    message = stun.parse(data)
    assert isinstance(message, stun.Message)
    assert (message.kind, message.transaction, message.mapped) == (stun.SUCCESS, TRANSACTION, own)
    assert message.fingerprint
    assert len(data) <= 52


@pytest.mark.parametrize("size", range(20, 60, 4))
async def test_no_answer_is_longer_than_its_question(size: int) -> None:
    """Never an amplifier: what has no room for its answer has none."""
    padding = b"" if size == 20 else b"\x80\x22" + (size - 24).to_bytes(2, "big") + bytes(size - 24)
    request = b"\x00\x01" + len(padding).to_bytes(2, "big") + SMALLEST[4:] + padding
    server = StunServer("127.0.0.1", 0)
    try:
        if size < 32:
            with pytest.raises(TimeoutError):
                await exchange("127.0.0.1", server.port, request)
            assert (server.answered, server.ignored) == (0, 1)
        else:
            data, _ = await exchange("127.0.0.1", server.port, request)
            assert len(data) == (40 if size >= 40 else 32)
    finally:
        server.close()


@pytest.mark.parametrize(("address", "size"), [("127.0.0.1", 32), ("::1", 44)])
async def test_a_smallest_request_is_answered_where_that_was_asked_for(address: str, size: int) -> None:
    """RFC 8489 sections 5 and 14.2: 20 octets asked, and an address told."""
    server = StunServer(address, 0, unpadded=True)
    try:
        data, own = await exchange(address, server.port, SMALLEST)
    finally:
        server.close()
    message = stun.parse(data)
    assert isinstance(message, stun.Message)
    assert (len(data), message.mapped) == (size, own)


async def test_a_strangers_client_program_gets_its_answer() -> None:
    """Coturn's own client sends the smallest request, and prints the address that it is told."""
    server = StunServer("127.0.0.1", 0, unpadded=True)
    try:
        client = await asyncio.create_subprocess_exec(
            "turnutils_stunclient", "-p", str(server.port), "127.0.0.1", stdout=asyncio.subprocess.PIPE
        )
        assert client.stdout is not None
        said = (await asyncio.wait_for(client.stdout.read(), 10)).decode()
        await client.wait()
    finally:
        server.close()
    assert "UDP reflexive addr: 127.0.0.1:" in said
    assert server.answered >= 1


def test_what_must_be_understood_and_is_not_is_named() -> None:
    """RFC 8489 section 6.3.1: error 420."""
    request = bytes.fromhex("000100082112a442") + TRANSACTION + bytes.fromhex("0003000400000002")
    reply = answer(request, stun.Mapped("192.0.2.1", 5), len(request))
    assert reply is not None
    message = stun.parse(reply)
    assert isinstance(message, stun.Message)
    assert message.error_code == 420


@pytest.mark.parametrize(
    "noise", [b"", b"hello", SMALLEST[:19], stun.build_success(TRANSACTION, stun.Mapped("::1", 1))]
)
def test_what_is_no_request_is_met_with_silence(noise: bytes) -> None:
    """Answers that are answered would go round for ever."""
    assert answer(noise, stun.Mapped("192.0.2.1", 5), 1000) is None


def test_an_address_is_told_as_the_asker_knows_it() -> None:
    """A scope means something on our side only; a mapped address is an IPv4 address (RFC 4291 section 2.5.5.2)."""
    assert [plain(text) for text in ("192.0.2.1", "::ffff:192.0.2.1", "fe80::1%eth0", "2001:db8::1")] == [
        "192.0.2.1",
        "192.0.2.1",
        "fe80::1",
        "2001:db8::1",
    ]
