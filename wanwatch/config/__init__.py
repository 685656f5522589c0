"""Config: the configuration file to values that can be trusted.

In:       a TOML file, the environment (for secrets), this machine's interfaces and routes (for a proposal).
Out:      a frozen Config, or every mistake in the file at once; remarks; the JSON Schema; a proposed file.
Imports:  wanwatch.core, wanwatch.tls, pydantic, ssl, tomllib, zoneinfo; babel where a locale is written.
          Nothing goes to the network.
"""

from wanwatch.config.described import json_schema
from wanwatch.config.mistakes import ConfigError, Mistake
from wanwatch.config.reader import find, load
from wanwatch.config.remarks import remarks
from wanwatch.config.schema import Config

__all__ = ["Config", "ConfigError", "Mistake", "find", "json_schema", "load", "remarks"]
