"""Entries of all that a scenario may hold: tables, keys, and kinds of parts."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache, partial

from bedsim import registry
from bedsim.explain.entry import Entry, Fact, facts
from bedsim.explain.measure import how_to_measure
from bedsim.explain.sketches import sketch_of
from bedsim.explain.source_text import (
    MADE_IN,
    PHYSICS,
    FunctionText,
    ModuleText,
    home_of,
    module_text,
    paths,
    readers,
)
from bedsim.improve.levers import LEVERS
from bedsim.registry import Kind
from bedsim.scenario.keys import PARTS, fields_of, list_section_of, section_of
from bedsim.scenario.reference import KeyText, key_texts
from bedsim.scenario.schema import Corner, Scenario, Section

Table = tuple[str, type[Section]]


def scenario_entries() -> Iterator[Entry]:
    """Every table, key and kind."""
    for name, table in tables():
        told = list(key_texts(table, name))
        yield _table(name, table, told)
        yield from (_key(name, table, one) for one in told)
    for part in registry.parts():
        yield from (_kind(part, kind) for kind in registry.kinds(part))


def tables() -> Iterator[Table]:
    """Every table of a scenario with its name; a corner's parts are named without their corner."""
    yield "", Scenario
    yield from _inside("", Scenario)


def _inside(name: str, table: type[Section]) -> Iterator[Table]:
    for key, field in fields_of(table).items():
        inner = section_of(field) or list_section_of(field)
        if inner is None:
            continue
        of_corner = table is Corner and key in PARTS
        own = key if of_corner or not name else f"{name}.{key}"
        yield own, inner
        yield from _inside(own, inner)


def _table(name: str, table: type[Section], told: list[KeyText]) -> Entry:
    what = (table.__doc__ or "").strip()
    return Entry(
        name=name or "scenario",
        sort="table",
        what=" ".join(what.split()) or "The file.",
        facts=(*_sketch(name), *facts(keys=", ".join(one.name for one in told))),
        read=partial(_made_of_table, name, table, [one.name for one in told]),
        other_names=(f"[{name}]", f"[[{name}]]") if name else (),
    )


def _key(table: str, of: type[Section], told: KeyText) -> Entry:
    name = f"{table}.{told.name}" if table else told.name
    return Entry(
        name=name,
        sort="key",
        what=" ".join(told.meaning.split()),
        facts=(
            *_sketch(table),
            *facts(
                unit=told.unit,
                allowed=told.allowed,
                usual=told.default,
                source=told.source,
                measured_by=how_to_measure(name),
                levers=_levers(name),
            ),
        ),
        read=partial(_made_of_key, table, of, told.name),
        other_names=(told.name,) if table else (),
        see=(table,) if table else (),
    )


def _kind(part: str, kind: Kind) -> Entry:
    defaults = [
        f"{key} {d.likely:g}" + (f" ({d.low:g} to {d.high:g})" if d.is_guess else "") + f", {d.source}"
        for key, d in kind.defaults.items()
    ]
    idle = [f"{', '.join(keys)}: {why}" for why, keys in kind.idle.items()]
    return Entry(
        name=f"{part}.kind={kind.name}",
        sort="kind",
        what=f"A kind of {part}: {kind.sentence}.",
        facts=facts(usual="; ".join(defaults), keys_that_do_nothing="; ".join(idle)),
        other_names=(kind.name, f"{part} {kind.name}"),
        see=(f"{part}.kind",),
    )


def _sketch(table: str) -> tuple[Fact, ...]:
    drawn = sketch_of(table)
    return (Fact(label="sketch", text=drawn, shape="verbatim"),) if drawn else ()


def _made_of_table(name: str, table: type[Section], keys: list[str]) -> tuple[Fact, ...]:
    """The part that a table's keys make most."""
    made = [f.makes for key in keys for f in readers(name, table.__name__, key) if home_of(f.makes)]
    return _physics(home_of(max(made, key=made.count)) if made else _called(name), [])


def _made_of_key(table: str, of: type[Section], key: str) -> tuple[Fact, ...]:
    """Where a key enters, and the part that is made of it."""
    functions = readers(table, of.__name__, key)
    made = next((f.makes for f in functions if home_of(f.makes)), "")
    enters = ", ".join(dict.fromkeys(f"{f.module} ({f.name})" if f.name else f.module for f in functions[:3]))
    return (*facts(enters=enters), *(_physics(home_of(made), functions) or _made_of_table(table, of, [])))


def _called(table: str) -> ModuleText | None:
    """The module that has the name of a table."""
    stem = f"/{table.rpartition('.')[2]}.py"
    found = (path for path in paths(*MADE_IN, *PHYSICS) if path.endswith(stem))
    return next((module_text(path) for path in found), None)


def _physics(made: ModuleText | None, readers_of_it: list[FunctionText]) -> tuple[Fact, ...]:
    """The docstring in which the part's formula stands, with its source and limits; of a number that makes
    no part, what the function that reads it says."""
    if made is not None and made.doc:
        return (Fact(label=f"formula and limits, bedsim/{made.path}", text=made.doc, shape="verbatim"),)
    if not readers_of_it:
        return ()
    first = readers_of_it[0]
    told = "\n\n".join(doc for doc in (first.doc, module_text(first.module).doc) if doc)
    return (Fact(label=f"what is made of it, bedsim/{first.module}", text=told, shape="verbatim"),)


def _levers(key: str) -> str:
    return ", ".join(_levers_by_key().get(key, ()))


@cache
def _levers_by_key() -> dict[str, tuple[str, ...]]:
    found: dict[str, dict[str, None]] = {}
    for lever in LEVERS:
        for change in (change for option in lever.options for change in option.changes):
            found.setdefault(change.key, {})[lever.name] = None
    return {key: tuple(names) for key, names in found.items()}
