"""Names of keys: where a key stands in the schema, its unit, and the nearest spelling of a wrong one."""

from __future__ import annotations

import difflib
import types
from collections.abc import Iterable, Iterator, Sequence
from functools import cache
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import ConfigDict, TypeAdapter
from pydantic.fields import FieldInfo

from bedsim import registry
from bedsim.scenario.kinds_of_parts import own_keys
from bedsim.scenario.schema import Corner, Scenario, Section
from bedsim.scenario.section import json_schema, sentences

PARTS = ("screw", "nut", "joint", "mount", "guide", "frame", "carriage", "motor", "coupling")
"""Tables that may stand at the top of a file for all corners, and inside a corner for that one."""

Loc = tuple[str | int, ...]

_UNITS = (
    ("_mm3_per_n_m", "mm3/(N m)"),
    ("_mpa_m_s", "MPa m/s"),
    ("_mm_rpm", "mm rpm"),
    ("_rpm", "rpm"),
    ("_mpa", "MPa"),
    ("_t", "T"),
    ("_h", "h"),
    ("_um_per_300mm", "um/300 mm"),
    ("_um_per_100mm", "um/100 mm"),
    ("_um_per_m_k", "um/(m K)"),
    ("_nm_per_rad", "N m/rad"),
    ("_mm_per_m", "mm/m"),
    ("_n_per_um", "N/um"),
    ("_n_per_mm", "N/mm"),
    ("_n_s_per_m", "N s/m"),
    ("_kg_per_m3", "kg/m3"),
    ("_kg_m3", "kg/m3"),
    ("_kg_m2", "kg m2"),
    ("_kg_cm2", "kg cm2"),
    ("_g_cm2", "g cm2"),
    ("_mm_s3", "mm/s3"),
    ("_mm_s2", "mm/s2"),
    ("_mm_s", "mm/s"),
    ("_n_mm", "N mm"),
    ("_n_m", "N m"),
    ("_gpa", "GPa"),
    ("_mm", "mm"),
    ("_um", "um"),
    ("_deg", "deg"),
    ("_kg", "kg"),
    ("_min", "min"),
    ("_percent", "%"),
    ("_n", "N"),
    ("_k", "K"),
    ("_s", "s"),
)


def unit_of(key: str) -> str:
    """Read the unit from the end of a key's name; "" where it has none (a count, a ratio, a choice)."""
    name = key.rsplit(".", 1)[-1]
    if name in ("seconds_per_layer",):
        return "s"
    return next((unit for ending, unit in _UNITS if name.endswith(ending)), "")


def bare(annotation: Any) -> Any:
    """Strip `Annotated` and `| None` from a type."""
    if get_origin(annotation) is Annotated:
        return bare(get_args(annotation)[0])
    if get_origin(annotation) in (Union, types.UnionType):
        rest = [a for a in get_args(annotation) if a is not type(None)]
        return bare(rest[0]) if len(rest) == 1 else annotation
    return annotation


def fields_of(table: type[Section]) -> dict[str, FieldInfo]:
    """Fields of a table by key, with those that kinds of the part add to it."""
    part = _parts().get(table)
    own = {} if part is None else {key: field for key, (_, field) in own_keys(part).items()}
    return {**table.model_fields, **own}


def properties(table: type[Section]) -> dict[str, dict[str, Any]]:
    """JSON Schema of every key of a table, with those that kinds of the part add to it."""
    part = _parts().get(table)
    found: dict[str, dict[str, Any]] = dict(json_schema(table).get("properties", {}))
    for kind in () if part is None else registry.kinds(part):
        own = {} if kind.keys is None else json_schema(kind.keys)["properties"]
        found |= {key: entry for key, entry in own.items() if key not in found}
    return found


def sentence_of(table: type[Section], key: str) -> str:
    """The sentence under a key of a table, or of what kinds of the part add to it; "" where there is none."""
    part = _parts().get(table)
    own = () if part is None else (kind.keys for kind in registry.kinds(part) if kind.keys is not None)
    return next((found for one in (table, *own) if (found := sentences(one).get(key))), "")


@cache
def _parts() -> dict[type[Section], str]:
    found = {part: section_of(field) for part, field in Corner.model_fields.items()}
    return {table: part for part, table in found.items() if table is not None}


def forget_kinds() -> None:
    """Ask for the kinds anew: there are others now."""
    for kept in (_field_at, _adapter, _homes):
        kept.cache_clear()


def section_of(field: FieldInfo) -> type[Section] | None:
    """Find the table class behind a field, or None for a plain value or a list."""
    kind = bare(field.annotation)
    return kind if isinstance(kind, type) and issubclass(kind, Section) else None


def list_section_of(field: FieldInfo) -> type[Section] | None:
    """Find the class of the entries of a list of tables, or None."""
    kind = bare(field.annotation)
    if get_origin(kind) is not tuple:
        return None
    entry = bare(get_args(kind)[0])
    return entry if isinstance(entry, type) and issubclass(entry, Section) else None


def field_at(loc: Sequence[str | int]) -> FieldInfo | None:
    """Find the schema's field at a place of the complete scenario, or None if there is none."""
    return _field_at(tuple(loc))


@cache
def _field_at(loc: tuple[str | int, ...]) -> FieldInfo | None:
    table: type[Section] | None = Scenario
    field: FieldInfo | None = None
    for step in loc:
        if isinstance(step, int):
            table = list_section_of(field) if field is not None else None
            if table is None:
                return None
            continue
        if table is None or step not in fields_of(table):
            return None
        field = fields_of(table)[step]
        table = section_of(field)
    return field


def table_at(loc: Sequence[str | int]) -> type[Section] | None:
    """Find the table class at a place of the complete scenario (a list index picks the entry's class)."""
    if not loc:
        return Scenario
    field = field_at(loc)
    if field is None:
        return None
    return list_section_of(field) if isinstance(loc[-1], int) else section_of(field)


def is_number(field: FieldInfo | None) -> bool:
    """Whether a field holds a number that may be uncertain."""
    return field is not None and bare(field.annotation) is float


def is_count(field: FieldInfo | None) -> bool:
    """Whether a field holds a whole number."""
    return field is not None and bare(field.annotation) is int


@cache
def _adapter(table: type[Section], key: str) -> TypeAdapter[Any]:
    field = fields_of(table)[key]
    annotation: Any = field.annotation
    for limit in field.metadata:
        annotation = Annotated[annotation, limit]
    return TypeAdapter[Any](annotation, config=ConfigDict(allow_inf_nan=False))


def value_adapter(loc: Sequence[str | int]) -> TypeAdapter[Any]:
    """Give the validator of one value with its limits."""
    table = table_at(tuple(loc[:-1]))
    assert table is not None
    return _adapter(table, str(loc[-1]))


def known_keys(loc: Sequence[str | int]) -> tuple[str, ...]:
    """List the keys that may stand in the table at a place of the file."""
    table = table_at(loc)
    names = () if table is None else tuple(fields_of(table))
    return names + PARTS if table is Scenario else names


def all_keys() -> Iterator[str]:
    """Every key as it is written behind --set, parts without their corner: `print.layers`, `nut.mass_kg`."""

    def leaves(table: type[Section], name: str) -> Iterator[str]:
        for key, field in fields_of(table).items():
            inner = section_of(field)
            if inner is not None:
                yield from leaves(inner, f"{name}{key}.")
            elif list_section_of(field) is None:
                yield name + key

    yield from leaves(Scenario, "")
    for part in PARTS:
        table = section_of(Corner.model_fields[part])
        assert table is not None
        yield from leaves(table, f"{part}.")


def completed(name: str, names: Iterable[str]) -> str:
    """The one name that begins with what is given, whatever its case; what is given where that is none or
    several."""
    listed = list(names)
    begin = [n for n in listed if n.lower().startswith(name.lower())]
    exact = [n for n in listed if n.lower() == name.lower()]
    found = exact or begin
    return found[0] if len(found) == 1 and name else name


def nearest(name: str, names: Iterable[str]) -> str | None:
    """Find the likeliest spelling meant, or None."""
    listed = list(names)
    # A key is also known without its unit: `radal` is nearer to `radial` than to `radial_n_per_um`.
    lower = {_stem(n): n for n in listed} | {n.lower(): n for n in listed}
    if name.lower() in lower:
        return lower[name.lower()]
    close = difflib.get_close_matches(name.lower(), lower, n=1, cutoff=0.6)
    if close:
        return lower[close[0]]
    starts = [n for n in listed if len(name) >= 3 and n.startswith(name.lower())]
    return starts[0] if starts else None


def _stem(name: str) -> str:
    return next((name[: -len(ending)] for ending, _ in _UNITS if name.endswith(ending)), name).lower()


@cache
def _homes() -> dict[str, tuple[str, ...]]:
    homes: dict[str, list[str]] = {}

    def walk(table: type[Section], name: str) -> None:
        for key, field in fields_of(table).items():
            homes.setdefault(key, []).append(name)
            inner = section_of(field) or list_section_of(field)
            if inner is not None and table is not Scenario:
                walk(inner, f"{name}.{key}")

    for key, field in Scenario.model_fields.items():
        inner = section_of(field) or list_section_of(field)
        if inner is not None and inner is not Corner:
            walk(inner, key)
    for part in PARTS:
        inner = section_of(Corner.model_fields[part])
        assert inner is not None
        homes.setdefault(part, []).append("")
        walk(inner, part)
    return {key: tuple(names) for key, names in homes.items()}


def unknown_key_hint(loc: Sequence[str | int]) -> str:
    """Say what an unknown key was probably meant to be: a near spelling here, or a key of another table."""
    name = str(loc[-1])
    here = known_keys(loc[:-1])
    near = nearest(name, here)
    if near is not None:
        return f"Did you mean {near}?"
    homes = _homes().get(name, ())
    if homes:
        return (
            "It belongs in "
            + " or ".join(f"[{home}]" if home else "the file's top level" for home in homes)
            + "."
        )
    everywhere = nearest(name, _homes())
    if everywhere is not None:
        home = _homes()[everywhere][0]
        return f"Did you mean {everywhere} in [{home}]?" if home else f"Did you mean {everywhere}?"
    return "Known here: " + ", ".join(here) + "." if here else ""
