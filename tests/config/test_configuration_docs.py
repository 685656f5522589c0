"""examples/README.md documents every key of the configuration, and no other."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from wanwatch.config import json_schema

REFERENCE = (Path(__file__).parents[2] / "examples" / "README.md").read_text("utf-8")


def _paths(schema: dict[str, Any], table: dict[str, Any], path: str = "") -> Iterator[str]:
    for key, value in table["properties"].items():
        one = value.get("oneOf", [value])[0]
        reference = one.get("$ref") or one.get("items", {}).get("$ref")
        if path:
            yield f"{path}.{key}"
        if reference:
            below = schema["$defs"][reference.rpartition("/")[2]]
            yield from _paths(schema, below, f"{path}.{key}" if path else key)


def test_the_reference_has_a_row_for_every_key_and_for_no_other() -> None:
    """Keys of the configuration are public: a key that is not described is not there for anyone."""
    schema = json_schema()
    written = set(re.findall(r"^\| `([a-z_.]+\.[a-z0-9_]+)` \|", REFERENCE, re.MULTILINE))
    assert written == set(_paths(schema, schema))


def test_the_reference_has_a_row_for_every_measure_with_its_keys() -> None:
    """A clause's keys follow from its measure."""
    for name, table in json_schema()["$defs"].items():
        if name.endswith("Clause"):
            measure = table["properties"]["measure"]
            words = ", ".join(f"`{word}`" for word in measure.get("enum") or [measure["const"]])
            keys = ", ".join(
                f"`{key}`" + "?" * (key not in table["required"]) for key in table["properties"] if key != "measure"
            )
            assert f"| {words} | {keys} |" in REFERENCE
