"""The invented office as its configuration file has it."""

from pathlib import Path

from tests.fakes.month import SITE
from wanwatch.config import Config
from wanwatch.config.fields import Around
from wanwatch.config.reader import read


def config(folder: Path, **report: object) -> Config:
    """Its configuration without contracts, with the record in *folder* and these keys of [report]."""
    document = {
        "site": {"name": SITE, "timezone": "Europe/London", "data_dir": str(folder)},
        "uplink": [
            {"name": "fibre", "pin": {"source": "192.0.2.11"}},
            {"name": "copper", "pin": {"interface": "eth2"}},
        ],
        "target": [{"name": "near", "echo": "192.0.2.1"}, {"name": "far", "echo": "198.51.100.1"}],
        "report": report,
    }
    return read(document, Around(folder=folder, environ={}))
