"""How the lab starts Python on its hosts."""

import os
import sys
from pathlib import Path
from typing import Final

PYTHON: Final = sys.executable
ROOT: Final = Path(__file__).parents[2]


def environment() -> dict[str, str]:
    """The environment of every program in the lab: ours, with the project importable from anywhere."""
    path = os.pathsep.join([str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])])
    return os.environ | {"PYTHONPATH": path, "PYTHONUNBUFFERED": "1"}
