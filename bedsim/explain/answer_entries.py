"""Entries of all that is answered: figures of a run, datasets of its file, rows of `size`."""

from __future__ import annotations

import string
from collections.abc import Iterator
from functools import partial
from typing import Any

from bedsim import registry
from bedsim.analysis.figures import OF_ERRORS
from bedsim.analysis.rows_slipped import SLIPPED
from bedsim.explain.entry import Entry, Fact, facts
from bedsim.explain.sketches import sketch_of
from bedsim.explain.source_text import module_text, paths
from bedsim.model.joint_kind import JointKind
from bedsim.quantities import REPORTED, Quantity, quantities_of
from bedsim.results.layers import LayerResult, Trace
from bedsim.sizing.machine import SUBJECTS
from bedsim.sizing.rows import Row, Subject

COMPUTED_BY = {
    "lateral_pv": "lateral_peak_to_valley",
    "height_pv": "peak_to_valley",
    "thickness_error": "thicknesses",
    "lateral_band": "lateral_amplitude_at",
    "height_band": "amplitude_at",
}
"""Functions of `analysis.metrics` behind the figures of a run."""
OF_TRACE = "trace."
SIDES = {"below": "stays below its limit", "above": "stays above its limit", "": ""}
JOGGED = "The bed under a dial gauge while a lead is jogged: `bedsim learn --recipe jog`."
SEEN = "Bands on printed walls: `bedsim learn --recipe bands`."
NOT_DIRECTLY = "Not by itself; it follows from what `bedsim learn` reads."


def answer_entries() -> Iterator[Entry]:
    """Every figure, dataset and row."""
    for metric in OF_ERRORS:
        yield Entry(
            name=metric.name,
            sort="figure",
            what=f"{metric.text[0].upper()}{metric.text[1:]}: sums up a run.",
            facts=(
                Fact(label="sketch", text=sketch_of("bands"), shape="verbatim"),
                *facts(unit=metric.unit, measured_by=SEEN if "band" in metric.name else JOGGED),
            ),
            read=partial(_module, "analysis/metrics.py", COMPUTED_BY[metric.name]),
            other_names=(metric.text,),
            see=("lateral_error", "height_error"),
        )
    reported = {q.field for q in REPORTED}
    for quantity in quantities_of(LayerResult):
        yield _quantity(quantity, "", "engines/base.py" if quantity.field in reported else "simulation.py")
    for quantity in quantities_of(Trace):
        yield _quantity(quantity, OF_TRACE, "engines/solved.py")
    for title, row in rows():
        yield _row(title, row)


def rows() -> Iterator[tuple[str, Row[Any]]]:
    """Every row of `size` under its subject: of every machine, of lost steps, and of kinds of joints."""
    subjects: tuple[Subject[Any], ...] = (*SUBJECTS, SLIPPED)
    for subject in subjects:
        yield from ((subject.title, row) for row in subject.rows)
    for kind in registry.kinds("joint"):
        assert isinstance(kind, JointKind)
        yield from ((f"Joint, {kind.name}", row) for row in kind.size)


def _quantity(q: Quantity, of: str, computed_in: str) -> Entry:
    return Entry(
        name=f"{of}{q.name}",
        sort="quantity",
        what=f"{q.meaning[0].upper()}{q.meaning[1:]}.",
        facts=facts(
            unit="none" if q.unit in ("1", "") else q.unit,
            one_number_for_every=q.axes.replace(" ", " and "),
            told_as=f"{q.figure} (the {q.worst} of all)" if q.figure else "",
            where_it_is_none=q.unknown if q.figure else "",
            range=f"by {q.ranged}" if q.ranged else "",
            measured_by=JOGGED if "_error" in q.name else "" if q.of_solver else NOT_DIRECTLY,
        ),
        read=partial(_module, computed_in, "corner_quantities" if "corner" in q.dims else "relative_errors"),
        other_names=tuple(n for n in (q.figure, q.field) if n and n != q.name),
    )


def _row(title: str, row: Row[Any]) -> Entry:
    return Entry(
        name=row.key,
        sort="row of size",
        what=f"{title}: {_plain(row.name)}.",
        facts=facts(
            unit=row.unit.name or "none",
            formula=_plain(row.formula),
            source=_plain(row.source),
            limit=SIDES[row.stays],
            note=row.note,
        ),
        read=lambda: facts(computed_in=_told_by(row)),
        other_names=(row.name, f"{title}: {_plain(row.name)}"),
    )


def _plain(text: str) -> str:
    """Words with braces that a machine fills in, told without."""
    return "".join(
        lead + (f"({name.replace('_', ' ')})" if name else "")
        for lead, name, _, _ in string.Formatter().parse(text)
    )


def _told_by(row: Row[Any]) -> str:
    """Module and function behind a row, with what they say of themselves."""
    tell = getattr(row.tell, "func", row.tell)
    path = tell.__module__.removeprefix("bedsim.").replace(".", "/") + ".py"
    if path not in paths():  # a user's own kind
        return str(tell.__module__)
    first = " ".join((tell.__doc__ or module_text(path).doc).partition("\n\n")[0].split())
    return f"bedsim/{path} ({tell.__name__.lstrip('_')}): {first}"


def _module(path: str, name: str) -> tuple[Fact, ...]:
    """What the module that computes a quantity says of itself, and of the function of that name."""
    module = module_text(path)
    own = [f"{function}: {doc}" for function, doc in module.public if function == name]
    told = "\n\n".join((module.doc, *own))
    return (Fact(label=f"computed in bedsim/{path}", text=told, shape="verbatim"),)
