"""The configuration that the demo's daemon is run with: a real file, which its reader may copy from."""

import json
from pathlib import Path
from typing import Final

from wanwatch.demo.office import COPPER, FIBRE
from wanwatch.demo.servers import Places

SITE: Final = "demo-harbour-lane"

_TEMPLATE: Final = """\
# The configuration of the demo. Everything in it is invented, and every address is this machine's own loopback.
# Its pace is quicker than a real office needs, so that a story fits into a minute and a half.

[site]
name = {site}
timezone = "Europe/London"
data_dir = {data_dir}

[[uplink]]                                   # their order is the order of preference
name = {fibre}
pin = {{ source = {fibre_source} }}             # the simulated gateway sends this address out through the fibre
resolvers = [{resolvers}]

[uplink.contract]
provider = "Example Fibre"
reference = "EX-0001"
clause = [
  {{ measure = "availability", at_least = "99.9%" }},
  {{ measure = "delay", target = "near", statistic = "p95", at_most = "15ms" }},
  {{ measure = "loss", at_most = "0.1%" }},
]

[[uplink]]
name = {copper}
pin = {{ source = {copper_source} }}
resolvers = [{resolvers}]

[[target]]
name = "near"
stamp = {near}
every = "500ms"
timeout = "500ms"

[[target]]
name = "far"
stamp = {far}
every = "500ms"
timeout = "500ms"

[[target]]                                   # the kernel shakes hands by itself: this one tells silence, not delay
name = "till"
tcp = {till}
every = "500ms"
timeout = "500ms"

[[target]]
name = "web"
http = "http://{web}/"
every = "500ms"
timeout = "800ms"

[names]
ask = ["www.example.com"]
every = "250ms"
timeout = "500ms"

[judge]
down_after = "2s"
up_after = "6s"
window = "8s"
clear_after = "8s"
stuck_after = "8s"

[carrying]                                   # who carries is told by the address that these servers see
stun = [{stun}]
every = "500ms"
pulse = "100ms"

[listen]
address = {listen}
"""


def write(folder: Path, places: Places, listen: str) -> Path:
    """Write the configuration into *folder* and return its path.

    Args:
        folder: An existing folder; the record is kept below it.
        places: Where the servers listen.
        listen: Address and port for the daemon's own pages.
    """
    values = {
        "site": SITE,
        "data_dir": str(folder.resolve() / "record"),
        "fibre": FIBRE.name,
        "fibre_source": FIBRE.source,
        "copper": COPPER.name,
        "copper_source": COPPER.source,
        "near": str(places.near),
        "far": str(places.far),
        "till": str(places.till),
        "listen": listen,
    }
    # A JSON string is a TOML basic string, but for DEL and lone surrogates, which no sane path has.
    texts = {name: json.dumps(value, ensure_ascii=False) for name, value in values.items()}
    lists = {
        name: ", ".join(f'"{place}"' for place in listed)
        for name, listed in (("stun", places.stun), ("resolvers", places.resolvers))
    }
    path = folder / "wanwatch.toml"
    path.write_text(_TEMPLATE.format(**texts, **lists, web=places.web), encoding="utf-8")
    return path
