"""A JSON Schema of the scenario file as it is written, for editors that check while one types."""

from __future__ import annotations

from typing import Any

from bedsim import registry
from bedsim.scenario.defaults import TABLE
from bedsim.scenario.keys import PARTS, properties, section_of
from bedsim.scenario.kinds_of_parts import own_keys
from bedsim.scenario.ranges import BASES
from bedsim.scenario.schema import Corner, Scenario
from bedsim.scenario.section import json_schema


def file_schema() -> dict[str, Any]:
    """Give the JSON Schema (draft 2020-12) of a scenario file.

    Part tables may stand at the top or in a corner and may be partial; any float may be a range.
    """
    schema = json_schema(Scenario)
    definitions = schema["$defs"]
    for part in registry.parts():
        definitions[_definition(part)]["properties"] |= _own(part)
    for definition in definitions.values():
        for key, entry in definition.get("properties", {}).items():
            definition["properties"][key] = _uncertain(entry)
    for part in PARTS:  # in the file every key is optional: common tables, corners and defaults add up
        definitions[_definition(part)].pop("required", None)
    _drop_defaulted(definitions)
    definitions["Print"].pop("required", None)  # a program gives its layers
    definitions["Corner"]["required"] = ["name", "x_mm", "y_mm"]
    for part in PARTS:
        entry = dict(definitions["Corner"]["properties"][part])
        schema["properties"][part] = entry | {"description": f"{entry['description']} Common to all corners."}
    definitions["Range"] = _range()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": "bedsim scenario"}


def _own(part: str) -> dict[str, Any]:
    """Keys that kinds of a part have alone."""
    table = section_of(Corner.model_fields[part])
    assert table is not None
    return {key: properties(table)[key] for key in own_keys(part)}


def _definition(part: str) -> str:
    """Name of the definition of a table: that of its class."""
    owner = Corner if part in Corner.model_fields else Scenario
    return str(getattr(owner.model_fields[part].annotation, "__name__", part))


def _drop_defaulted(definitions: dict[str, Any]) -> None:
    for part, defaults in TABLE.items():
        if part not in PARTS:
            name = _definition(part)
            required = definitions[name].get("required", [])
            definitions[name]["required"] = [key for key in required if key not in defaults]


def _range() -> dict[str, Any]:
    bounds = {name: {"type": "number"} for name in ("low", "likely", "high")}
    return {
        "type": "object",
        "description": "A number that is not known exactly: low <= likely <= high.",
        "properties": bounds | {"basis": {"enum": list(BASES), "default": "estimated"}},
        "required": list(bounds),
        "additionalProperties": False,
    }


def _uncertain(entry: dict[str, Any]) -> dict[str, Any]:
    """Let a number be a range too; `null` stands for "left out" and cannot be written in TOML."""
    choices = [c for c in entry.get("anyOf", ()) if c.get("type") != "null"]
    about = {k: v for k, v in entry.items() if k in ("description", "default", "title") and v is not None}
    if entry.get("type") == "number":
        limits = {k: v for k, v in entry.items() if k not in about}
        return {"anyOf": [limits, {"$ref": "#/$defs/Range"}], **about}
    if not choices:
        return entry
    if len(choices) == 1 and choices[0].get("type") == "number":
        return {"anyOf": [choices[0], {"$ref": "#/$defs/Range"}], **about}
    return choices[0] | about if len(choices) == 1 else entry
