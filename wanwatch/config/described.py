"""The configuration's JSON Schema: what an editor needs to complete, explain and check the file while it is written."""

from typing import Any

from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from wanwatch.config.schema import Config


class _Written(GenerateJsonSchema):
    """Describe the file and not the values made of it: TOML has no null, and nobody writes a key's title."""

    def nullable_schema(self, schema: core_schema.NullableSchema) -> JsonSchemaValue:
        """A key that may be left out, is."""
        return self.generate_inner(schema["schema"])

    def default_schema(self, schema: core_schema.WithDefaultSchema) -> JsonSchemaValue:
        """Leave out a default of nothing."""
        described = super().default_schema(schema)
        if described.get("default", ()) is None:
            del described["default"]
        return described

    def field_title_should_be_set(self, schema: object) -> bool:  # noqa: ARG002 - the base class's signature
        """Titles would only say the key again."""
        return False


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of the file, with the meaning of every key."""
    described = Config.model_json_schema(by_alias=True, mode="validation", schema_generator=_Written)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **described}
