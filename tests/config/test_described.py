"""The JSON Schema describes the file whole."""

import json
from collections.abc import Iterator
from typing import Any

from wanwatch.config import json_schema


def _keys(schema: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for table, described in [("(root)", schema), *schema["$defs"].items()]:
        for key, value in described["properties"].items():
            below = schema["$defs"][value["$ref"].rpartition("/")[2]] if "$ref" in value else {}
            yield table, key, below | value


def test_every_key_has_its_meaning() -> None:
    """A key without a description is not documented."""
    undescribed = [(table, key) for table, key, value in _keys(json_schema()) if not value.get("description")]
    assert undescribed == []


def test_no_key_takes_null_and_defaults_are_as_the_file_writes_them() -> None:
    """TOML has no null; a duration's default is text such as 1s and not a number of nanoseconds."""
    schema = json_schema()
    assert '"null"' not in json.dumps(schema)
    wrong = [
        (table, key)
        for table, key, value in _keys(schema)
        if value.get("type") == "string" and not isinstance(value.get("default", ""), str)
    ]
    assert wrong == []


def test_unknown_keys_are_refused_by_the_schema_too() -> None:
    """An editor that knows the schema tells a misspelt key while it is written."""
    schema = json_schema()
    assert all(table["additionalProperties"] is False for table in [schema, *schema["$defs"].values()])
