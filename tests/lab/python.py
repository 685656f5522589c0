"""How the lab starts Python on its hosts."""

import os
import sys
from pathlib import Path
from typing import Final

PYTHON: Final = sys.executable
ROOT: Final = Path(__file__).parents[2]


def environment() -> dict[str, str]:
    """The environment of every program in the lab: ours, with the project importable from anywhere."""
    return os.environ | {"PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}
