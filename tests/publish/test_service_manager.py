"""The service manager's protocol, against a real datagram socket (sd_notify(3))."""

import socket
from pathlib import Path

from wanwatch.publish import ServiceManager


def test_state_lines_arrive_as_one_datagram(tmp_path: Path) -> None:
    """One datagram holds newline-separated assignments."""
    path = tmp_path / "notify"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(path))
        ServiceManager({"NOTIFY_SOCKET": str(path)}).tell("READY=1", "STATUS=watching")
        assert manager.recv(100) == b"READY=1\nSTATUS=watching"


def test_an_abstract_socket_is_reached() -> None:
    """A leading @ means the abstract name space."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind("\0wanwatch-test-notify")
        ServiceManager({"NOTIFY_SOCKET": "@wanwatch-test-notify"}).tell("WATCHDOG=1")
        assert manager.recv(100) == b"WATCHDOG=1"


def test_nobody_listening_is_no_trouble(tmp_path: Path) -> None:
    """Without a manager, or with a dead one, telling does nothing."""
    ServiceManager({}).tell("READY=1")
    ServiceManager({"NOTIFY_SOCKET": str(tmp_path / "nobody")}).tell("READY=1")


def test_the_watchdog_is_fed_twice_an_interval() -> None:
    """sd_watchdog_enabled(3) recommends half of the interval."""
    assert ServiceManager({"WATCHDOG_USEC": "20000000"}).watchdog_s == 10.0
    assert ServiceManager({}).watchdog_s is None
