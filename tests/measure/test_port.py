"""A port as the kernel shows it (Linux sysfs-class-net: speed in Mbit/s or -1, duplex in a word)."""

from pathlib import Path

import pytest

from wanwatch.measure.port import Port, read_port


@pytest.mark.parametrize(
    ("speed", "duplex", "port"),
    [
        ("1000", "full", Port(10**9, "full")),
        ("100", "half", Port(10**8, "half")),
        ("-1", "unknown", Port(None, None)),
        ("4294967295", "full", Port(None, "full")),
        ("", "", Port(None, None)),
    ],
)
def test_what_the_kernel_does_not_know_is_not_known(tmp_path: Path, speed: str, duplex: str, port: Port) -> None:
    """An unknown rate is -1, and on older kernels the same 32 bits without a sign."""
    (tmp_path / "eth1").mkdir()
    (tmp_path / "eth1" / "speed").write_text(f"{speed}\n")
    (tmp_path / "eth1" / "duplex").write_text(f"{duplex}\n")
    assert read_port("eth1", tmp_path) == port


def test_an_interface_that_is_not_there_has_no_port(tmp_path: Path) -> None:
    """Nor has the loopback of this machine a rate."""
    assert read_port("eth9", tmp_path) == Port(None, None)
    assert read_port("lo").bps is None
