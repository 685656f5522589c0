"""The speed test on shaped lines, and unshaped beside curl against nginx in one run; in network namespaces.

    python tests/bench/bench_speed.py --shaped [--runs 10] [--seconds 10] [--rates 10,80,300,900]
    python tests/bench/bench_speed.py --beside-curl [--runs 3] [--seconds 5]

Shaped: prints each run's goodput against the shaped rate times what headers leave of it (1448 of the 1514 bytes that
tbf counts); ends with 1 if one is off by more than 1 %. Beside curl: bytes a second of both, plain and through TLS.
"""

import argparse
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.bench.pair import say
from tests.lab.speedway import ADDRESS, COUNTED, PAYLOAD, Speedway

CLOSE = 0.01


def shaped(way: Speedway, runs: int, seconds: int, rates: list[int]) -> bool:
    """Print every run; tell whether all were close enough."""
    way.reflector()
    good = True
    for mbps in rates:
        way.shape(mbps)
        best = mbps * 1e6 * PAYLOAD / COUNTED
        for number in range(1, runs + 1):
            told = way.test("--seconds", str(seconds))
            shares = {name: told[name]["goodput"]["bps"] / best for name in ("down", "up")}
            good &= all(abs(share - 1) <= CLOSE for share in shares.values())
            each = ", ".join(f"{name} {share:.4f} ({told[name]['limited_by']})" for name, share in shares.items())
            say(f"{mbps} Mbit/s, run {number}: {each} of {best / 1e6:.3f} Mbit/s")
    return good


def beside_curl(way: Speedway, runs: int, seconds: int) -> None:
    """Print bytes a second of one connection of curl, and of ours with one connection and with four."""
    way.nginx()
    for scheme in ("http", "https"):
        url = f"{scheme}://{ADDRESS}/file"
        way.configure(f'down = "{url}"\nup = "{url}"\nmost = "100 GB"')
        for number in range(1, runs + 1):
            curl = way.curl(url, seconds)
            ours = []
            for connections in (1, 4):
                words = ("--direction", "down", "--connections", str(connections), "--seconds", str(seconds))
                found = way.test(*words)["down"]
                ours.append(found["goodput"]["bps"] / 8)
            ratios = ", ".join(
                f"{connections}: {bps / 1e9:.2f} GB/s = {bps / curl:.2f} x"
                for connections, bps in zip((1, 4), ours, strict=True)
            )
            say(f"{scheme}, run {number}: curl {curl / 1e9:.2f} GB/s; ours with connections {ratios}")


def main() -> int:
    """Return 1 if a shaped run was off."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--shaped", action="store_true")
    parser.add_argument("--beside-curl", action="store_true")
    parser.add_argument("--runs", type=int)
    parser.add_argument("--seconds", type=int)
    parser.add_argument("--rates", default="10,80,300,900")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(dir="/dev/shm") as folder, Speedway(Path(folder)) as way:
        if asked.beside_curl:
            beside_curl(way, asked.runs or 3, asked.seconds or 5)
            return 0
        rates = [int(rate) for rate in asked.rates.split(",")]
        return 0 if shaped(way, asked.runs or 10, asked.seconds or 10, rates) else 1


if __name__ == "__main__":
    sys.exit(main())
