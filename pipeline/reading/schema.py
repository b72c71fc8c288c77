"""JSON Schema of records and catalogues, so that an editor completes and explains them."""

from __future__ import annotations

from typing import Any

from pydantic.json_schema import GenerateJsonSchema, JsonSchemaMode
from pydantic_core import core_schema

from pipeline.model.catalogue import CATALOGUE_FILES, OPTIONAL_CATALOGUES
from pipeline.model.part import Part, Reading
from pipeline.model.quantity import MONEY_PATTERN, Frozen, Limits, Money, Range, Temperature, Years

_PAIR = {"type": "array", "prefixItems": [{"type": ["number", "null"]}] * 2, "minItems": 2, "maxItems": 2}
_TRIPLE = {"type": "array", "items": {"type": "number"}, "minItems": 3, "maxItems": 3}
_SHORT_FORMS: dict[type[Frozen], dict[str, Any]] = {
    Money: {"type": "string", "pattern": MONEY_PATTERN, "description": "an amount and its currency, e.g. 38000 USD"},
    Range: {"anyOf": [{"type": "number"}, _TRIPLE], "description": "[low, likely, high], or one number for all three"},
    Limits: {**_PAIR, "description": "[lower, upper] as deviations from the nominal; null leaves one side open"},
    Years: {"anyOf": [{"type": "integer"}, {"type": "string", "pattern": r"^\d{4}(\s*-\s*\d{4})?$"}],
            "description": "1951-1955, both included"},
    Temperature: {"type": "string", "pattern": r"^\s*-?\d+(\.\d+)?\s*[CF]\s*$", "description": "e.g. 21.5 C"},
}  # fmt: skip


class _ShortForms(GenerateJsonSchema):
    """Shows each quantity as a record writes it, not as the program holds it."""

    def model_schema(self, schema: core_schema.ModelSchema) -> dict[str, Any]:
        """Return the schema of one model."""
        short = _SHORT_FORMS.get(schema["cls"])
        if short is not None:
            return dict(short)
        found = super().model_schema(schema)
        if schema["cls"] is Reading:
            return {"anyOf": [{"type": "number"}, found], "description": "a number in the feature's unit, or a map"}
        return found

    def dict_schema(self, schema: core_schema.DictSchema) -> dict[str, Any]:
        """Return the schema of a map of ids: an id that does not have the form is refused, not passed over."""
        found = super().dict_schema(schema)
        return {**found, "additionalProperties": False} if "patternProperties" in found else found


def build_schema(name: str) -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of `part` or of a catalogue such as `families`.

    Raises KeyError for any other name.
    """
    model = Part if name == "part" else (CATALOGUE_FILES | OPTIONAL_CATALOGUES)[name]
    for kind in Frozen.__subclasses__():  # some stand as defaults: pydantic before 2.14 cannot show those not yet built
        kind.model_rebuild()
    mode: JsonSchemaMode = "validation"
    schema = model.model_json_schema(by_alias=True, mode=mode, schema_generator=_ShortForms)
    title = "A part in development" if name == "part" else f"shared/{name}.yaml"
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": title}


SCHEMA_NAMES = ("part", *CATALOGUE_FILES, *OPTIONAL_CATALOGUES)
"""Everything that has a schema."""
