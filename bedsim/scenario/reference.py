"""Writes scenarios/README.md from the schema and the defaults: `python -m bedsim.scenario.reference`."""

from __future__ import annotations

import inspect
from collections.abc import Iterator
from dataclasses import astuple, dataclass
from pathlib import Path
from typing import Any

from pydantic.fields import FieldInfo

from bedsim import registry
from bedsim.registry import Default
from bedsim.scenario.defaults import default_ranges, known_kinds
from bedsim.scenario.derived_defaults import RULES
from bedsim.scenario.keys import (
    PARTS,
    fields_of,
    list_section_of,
    properties,
    section_of,
    sentence_of,
    unit_of,
)
from bedsim.scenario.kinds_of_parts import own_keys
from bedsim.scenario.schema import Corner, Scenario, Section
from bedsim.scenario.section import json_schema, sentences

README = Path(__file__).resolve().parents[2] / "scenarios" / "README.md"

_INTRO = """# Scenario files

Written by `python -m bedsim.scenario.reference` from the schema and the table of defaults; do not edit.

{shipped}
## How a file is read

- TOML, units in every key. An unknown key is refused with the nearest spelling; all faults come in one
  list.
- The tables {parts} hold for every corner. A `[[corner]]` may hold tables of the same names; its keys win
  one by one.
- A number not known exactly may be a range: `{{low = 1, likely = 2, high = 4, basis = "estimated"}}`; basis
  is one of measured, datasheet, estimated, default. Each of the three numbers must keep the limits of the
  key.
- What is left out takes the default. Where a default is a guess, its range counts in the answer and its
  source is told below: a document, "computed" with the inputs named, "from memory" (recalled, not read
  again) or "assumed".
- A key that does nothing beside a choice (a bearing at a free end, the travel of a bolted joint, a belt where
  there is none) is refused, unless it says what is taken anyway. Where the choice is made over the file
  (`--set joint.kind=rigid`, `--vary`, a sweep) the other kind's keys stay, and are named as not used.
- `--set key=value` overrides a key: `print.layers=80`, `guide.radial_n_per_um=20` (every corner that
  inherits it), `corner.back.screw.lead_mm=4` (one corner), `probe.nose.x_mm=10`, `joint.element.1.x_mm=8`
  (entries of a list count from 1).
- Angles are counter-clockwise seen from above, X to the right, Y to the back, heights above the bed
  surface.

### CSV tables

They lie beside the scenario or below it: a header of columns with units, commas between columns, points in
numbers, positions growing from row to row; lines that start with # are remarks.

| key | columns |
|---|---|
| `screw.run_out.table`, `guide.table` | position_mm, offset_x_um, offset_y_um |
| `screw.run_out.table`, as gauge readings | position_mm, angle_deg, reading_um |
| `screw.travel.table` | position_mm, deviation_um |

Gauge readings: the gauge stands on the +X side of the screw and its reading grows outwards; angle_deg is how
far the screw is turned from its clocking zero. Each position needs at least four readings spread around the
turn; their first harmonic is the offset, and the span of the readings of a round screw (TIR) is twice the
offset. They are taken as they stand: run `bedsim gauge` on them first, it looks for slips among them. It also
takes readings taken in other ways and writes a table of offsets.

"""


def _limits(entry: dict[str, Any]) -> str:
    entry = next((c for c in entry.get("anyOf", ()) if c.get("type") != "null"), entry)
    if "enum" in entry:
        return " or ".join(entry["enum"])
    words = {"exclusiveMinimum": ">", "minimum": ">=", "exclusiveMaximum": "<", "maximum": "<="}
    bounds = [f"{sign} {entry[key]:g}" for key, sign in words.items() if key in entry]
    bounds += [f"{entry['minItems']} or more"] if "minItems" in entry else []
    kinds = {"integer": "whole number", "string": "text", "array": "list", "number": "any"}
    kinds["boolean"] = "true or false"
    kind = kinds.get(str(entry.get("type")), "table")
    if kind == "any":
        return ", ".join(bounds) or kind
    return ", ".join([kind, *bounds])


def _number(value: float) -> str:
    return f"{value:.6g}"


def _plain(field: FieldInfo) -> str:
    if field.is_required():
        return "must be given"
    value = field.default
    if value is None:
        return "left out"
    if isinstance(value, Section):
        return "see below"
    if isinstance(value, tuple):
        return "none" if not value else ", ".join(map(str, value))
    if isinstance(value, bool):
        return str(value).lower()
    return _number(value) if isinstance(value, int | float) else str(value)


def _spread(default: Default) -> str:
    if not default.is_guess:
        return _number(default.likely)
    return f"{_number(default.likely)} ({_number(default.low)} to {_number(default.high)})"


def _default(part: str, key: str, field: FieldInfo) -> tuple[str, str]:
    """The default with its range, and its source, by kind where they differ."""
    owner = own_keys(part).get(key)
    kinds = (owner[0],) if owner else known_kinds(part) or ("any",)
    found = {kind: default_ranges(part, kind).get(key) for kind in kinds}
    given = {kind: default for kind, default in found.items() if default is not None}
    if rule := RULES.get(part, {}).get(key):
        plain = [f"{kind}: {_spread(d)}" if len(found) > 1 else _spread(d) for kind, d in given.items()]
        sources = dict.fromkeys([*(d.source for d in given.values()), rule[2]])
        words = rule[1]() if callable(rule[1]) else rule[1]
        return "; ".join([*plain, words]), "; ".join(sources)
    if not given:
        return _plain(field), ""
    if len(set(given.values())) == 1 and len(given) == len(found):
        only = next(iter(given.values()))
        return _spread(only), only.source
    texts = [f"{kind}: {_spread(d) if d else _plain(field)}" for kind, d in found.items()]
    sources = dict.fromkeys(d.source for d in given.values())
    if len(sources) == 1:
        return "; ".join(texts), next(iter(sources))
    return "; ".join(texts), "; ".join(f"{kind}: {d.source}" for kind, d in given.items() if d.is_guess)


def _meaning(part: str, key: str, table: type[Section]) -> str:
    own = own_keys(part)
    if key in own:
        return f"{own[key][0]} alone: {sentence_of(table, key)}"
    if key != "kind" or part not in registry.parts():
        return sentence_of(table, key)
    return "; ".join(f"{kind.name}: {kind.sentence}" for kind in registry.kinds(part)) + "."


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyText:
    """What is told of one key: its name in its table, unit, what is allowed, the default with its range, what
    it means, where the default comes from."""

    name: str
    unit: str
    allowed: str
    default: str
    meaning: str
    source: str


def key_texts(table: type[Section], part: str) -> Iterator[KeyText]:
    """Tell of every key of a table that holds a value, `part` its name."""
    entries = properties(table)
    for key, field in fields_of(table).items():
        if section_of(field) is not None:
            continue
        default, source = _default(part, key, field)
        yield KeyText(
            name=key,
            unit=unit_of(key),
            allowed=_limits(entries[key]),
            default=default,
            meaning=_meaning(part, key, table),
            source=source,
        )


def _rows(table: type[Section], part: str) -> Iterator[str]:
    for told in key_texts(table, part):
        cells = (f"`{told.name}`", *astuple(told)[1:])
        lines = (" ".join(str(c or "").split()) for c in cells)  # a row of a table is one line
        yield "| " + " | ".join(c.replace("|", "\\|") for c in lines) + " |"


def _section(name: str, table: type[Section], part: str) -> Iterator[str]:
    yield f"## {name}"
    yield ""
    yield inspect.cleandoc(table.__doc__ or "")  # Python 3.13 takes the indentation off, those before do not
    yield ""
    yield "| key | unit | range | default (range) | meaning | source of the default |"
    yield "|---|---|---|---|---|---|"
    yield from _rows(table, part)
    yield ""


def _part_sections(part: str, table: type[Section]) -> Iterator[str]:
    yield from _section(f"[{part}]", table, part)
    for key, field in table.model_fields.items():
        inner = section_of(field)
        if inner is not None:
            yield from _section(f"[{part}.{key}]", inner, f"{part}.{key}")
    yield from _listed_sections(part, table)


def _listed_sections(part: str, table: type[Section]) -> Iterator[str]:
    """Tables that stand in a list of a table at the top."""
    for key, field in table.model_fields.items():
        entries = list_section_of(field)
        if entries is not None:
            yield from _section(f"[[{part}.{key}]]", entries, f"{part}.{key}")


def _shipped(folder: Path) -> str:
    lines = []
    for path in sorted(folder.glob("*.toml")):
        remark: list[str] = []
        for line in path.read_text(encoding="utf-8").splitlines():
            if not line.startswith("#"):
                break
            remark.append(line.lstrip("# "))
        lines.append(f"- `{path.name}`: {' '.join(remark)}")
    return "\n".join(lines) + "\n" if lines else ""


def reference_text(folder: Path) -> str:
    """Give the text of the README of a folder of scenarios: the files in it, then every key."""
    parts = ", ".join(f"`[{part}]`" for part in PARTS)
    lines: list[str] = []
    for key, field in Scenario.model_fields.items():
        inner, entries = section_of(field), list_section_of(field)
        if inner is not None:
            lines += _section(f"[{key}]", inner, key)
            lines += _listed_sections(key, inner)
        elif entries is not None and entries is not Corner:
            lines += _section(f"[[{key}]]", entries, key)
    corner = ["## [[corner]]", "", f"{(Corner.__doc__ or '').strip()} At least three."]
    corner += ["", "| key | unit | range | meaning |", "|---|---|---|---|"]
    for key in ("name", "x_mm", "y_mm"):
        entry = json_schema(Corner)["properties"][key]
        corner.append(f"| `{key}` | {unit_of(key)} | {_limits(entry)} | {entry['description']} |")
    corner += [f"| {parts} | | tables | What differs from the common table of that name. |", ""]
    for part in PARTS:
        inner = section_of(Corner.model_fields[part])
        assert inner is not None
        corner += _part_sections(part, inner)
    top = ["## Top level", "", f"`title`: {sentences(Scenario)['title']} Must be given.", ""]
    shipped = (
        f"## Shipped scenarios\n\nOne story, invented: a machine with a 300 mm bed.\n\n{_shipped(folder)}"
    )
    return _INTRO.format(parts=parts, shipped=shipped) + "\n".join([*top, *lines, *corner]).rstrip() + "\n"


if __name__ == "__main__":
    README.write_text(reference_text(README.parent), encoding="utf-8")
