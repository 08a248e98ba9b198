"""Kinds in the schema: the choice of a kind, and the keys that a kind adds to its part."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.fields import FieldInfo
from pydantic_core import PydanticKnownError, core_schema

from bedsim import registry
from bedsim.scenario.section import Section

Keys = TypeVar("Keys", bound=Section)


@dataclass(frozen=True, slots=True)
class KnownKind:
    """A text that names a kind of a part."""

    part: str

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> Any:
        """Any text, checked when it is read: kinds may come from outside."""
        return core_schema.no_info_after_validator_function(self._known, handler(source))

    def __get_pydantic_json_schema__(self, schema: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """The kinds that there are."""
        return {"type": "string", "enum": list(registry.names(self.part))}

    def _known(self, name: str) -> str:
        names = registry.names(self.part)
        if name not in names:
            listed = ", ".join(f"'{n}'" for n in names)
            raise PydanticKnownError("literal_error", {"expected": listed})
        return name


@dataclass(frozen=True, slots=True)
class KeysOfKind:
    """A part's table, read with the keys of its own kind."""

    part: str

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> Any:
        """The part's class, or its kind's where that has one."""
        return core_schema.no_info_wrap_validator_function(self._read, handler(source))

    def _read(self, value: Any, plain: Any) -> Any:
        own = keys_class(self.part, value)
        return plain(value) if own is None else own.model_validate(value, strict=True)


def keys_class(part: str, table: Any) -> type[Section] | None:
    """The class of keys that the kind of a part's table brings; None where it brings none."""
    name = table.get("kind") if isinstance(table, Mapping) else None
    return registry.find(part, name).keys if name in registry.names(part) else None


def own_keys(part: str) -> dict[str, tuple[str, FieldInfo]]:
    """Keys that kinds of a part have alone: key -> kind and field."""
    return {
        key: (kind.name, field)
        for kind in registry.kinds(part)
        if kind.keys is not None
        for key, field in kind.keys.model_fields.items()
        if key not in _common(kind.keys)
    }


def _common(keys: type[Section]) -> Mapping[str, FieldInfo]:
    """Fields of the part's class that a kind's class adds its own to."""
    parent = keys.__mro__[1]
    return parent.model_fields if issubclass(parent, Section) else {}


def without_others(full: Mapping[str, Any]) -> dict[str, Any]:
    """A complete tree without the keys that kinds other than the chosen one have alone: those rest."""
    own = {part: own_keys(part) for part in registry.parts()}
    corners = full.get("corner")
    if not isinstance(corners, list | tuple) or not any(own.values()):
        return dict(full)
    return {**full, "corner": type(corners)(_without(corner, own) for corner in corners)}


def _without(corner: Any, own: Mapping[str, Mapping[str, tuple[str, FieldInfo]]]) -> Any:
    if not isinstance(corner, Mapping):
        return corner
    return {part: _kept(table, own.get(part, {})) for part, table in corner.items()}


def _kept(table: Any, own: Mapping[str, tuple[str, FieldInfo]]) -> Any:
    if not isinstance(table, Mapping) or not own:
        return table
    kind = table.get("kind")
    return {key: value for key, value in table.items() if key not in own or own[key][0] == kind}


def as_its_kind_asks(part: str, keys: Keys) -> Keys:
    """The keys of a part themselves. Raises ValueError with the rule of its kind that they break."""
    rule = registry.find(part, keys.kind).refused(keys)  # type: ignore[attr-defined]
    if rule:
        raise ValueError(rule)
    return keys
