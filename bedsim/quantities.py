"""What is told of every layer, stated once: all that carries these numbers is made from this table.

A `Quantity` stands in the annotation of a field: its axes, unit, meaning and how it is reduced.
`LayerQuantities` is the table of what engines report of a layer.  Their chunks and the layers of a run are
subclasses of it, so that both have every quantity as a field; datasets of the result file, their
documentation, figures that sum up a run, tables per corner, ranges and the tally of a sweep follow.  A new
quantity is one field here, and the line that computes it (at a corner: in `engines.base.corner_quantities`).
"""

from dataclasses import dataclass, fields, replace
from typing import Annotated, Literal, get_type_hints

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Kind = Literal["float64", "int64", "bool", "text"]

FIRST_VERSION = (1, 0)
UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One array of numbers, in SI.

    `axes`: their names with spaces between ("layer corner"); `meaning`: the sentence in file and
    documentation; `name`: in the file, by default that of its `field`.  `since`: version of the result file
    that brought it.

    `worst`: which of many instants, layers, probes or corners is told.  `figure`: words of the figure that
    sums up a run, empty: none; `columns`: short and long heading in tables per corner, empty: in none;
    `unknown`: how a value that is not a number reads.  `by_vibration`: not a number from an engine without
    inertia; `of_solver`: says how the solver went, nothing of the machine.  `ranged`: what uncertain keys
    change of it at rest joins by factors or, where it can pass zero, by differences; empty: it gets no range.
    """

    axes: str
    unit: str
    meaning: str
    name: str = ""
    field: str = ""
    kind: Kind = "float64"
    since: tuple[int, int] = FIRST_VERSION
    worst: Literal["largest", "smallest"] = "largest"
    figure: str = ""
    columns: tuple[str, str] = ("", "")
    unknown: str = UNKNOWN
    by_vibration: bool = False
    of_solver: bool = False
    ranged: Literal["factors", "differences", ""] = ""

    @property
    def dims(self) -> tuple[str, ...]:
        """Names of the axes."""
        return tuple(self.axes.split())

    @property
    def extreme(self) -> np.ufunc:
        """Worst of two values, or of many by its `reduce`; of what is a number where anything is."""
        return np.fmax if self.worst == "largest" else np.fmin

    def badness(self, values: Array) -> Array:
        """Values that grow the worse they are."""
        return values if self.worst == "largest" else -values


def quantities_of(table: type) -> tuple[Quantity, ...]:
    """Quantities of a dataclass, in the order of its fields, each with its field's name."""
    notes = get_type_hints(table, include_extras=True)
    found = [(f.name, getattr(notes[f.name], "__metadata__", ())) for f in fields(table)]
    return tuple(
        replace(note, field=name, name=note.name or name)
        for name, about in found
        for note in about
        if isinstance(note, Quantity)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerQuantities:
    """What an engine reports of layers; axes as said, after that of the members where there are many."""

    residual_lateral: Annotated[
        Array,
        Quantity(
            axes="layer probe",
            unit="m",
            meaning="peak lateral vibration when printing starts; not a number from an engine without "
            "inertia",
            figure="lateral vibration when printing starts, peak",
            unknown="not computed",
            by_vibration=True,
        ),
    ]
    residual_height: Annotated[
        Array,
        Quantity(
            axes="layer probe",
            unit="m",
            meaning="peak height vibration when printing starts; likewise",
            figure="height vibration when printing starts, peak",
            unknown="not computed",
            by_vibration=True,
        ),
    ]
    settle_time: Annotated[
        Array,
        Quantity(
            axes="layer",
            unit="s",
            meaning="from the end of the motion until all probes stay within 0.1 um; likewise",
            by_vibration=True,
        ),
    ]
    joint_excursion: Annotated[
        Array,
        Quantity(
            axes="layer corner",
            unit="m",
            meaning="largest way of any of the joint's elements from its middle",
            figure="joint excursion, largest",
            columns=("joint", "Joint excursion"),
            ranged="factors",
        ),
    ]
    side_force: Annotated[
        Array,
        Quantity(
            axes="layer corner",
            unit="N",
            meaning="largest lateral force between carriage and guide",
            figure="side force on a guide, largest",
            columns=("side force", "Side force"),
            ranged="factors",
        ),
    ]
    load_angle: Annotated[
        Array,
        Quantity(
            axes="layer corner",
            unit="rad",
            meaning="largest load angle of the motor, electrical",
            figure="motor load angle (electrical), largest",
            columns=("angle", "Load angle"),
            ranged="factors",
        ),
    ]
    mount_force: Annotated[
        Array,
        Quantity(
            axes="layer corner",
            unit="N",
            meaning="smallest vertical force in the mount, negative: lift-off; not a number where it is "
            "bolted: nothing lifts off there, and no force of its own is known",
            worst="smallest",
            figure="mount force, smallest",
            columns=("mount", "Least mount force"),
            unknown="bolted",
            ranged="differences",
        ),
    ]
    axial_force: Annotated[
        Array,
        Quantity(
            axes="layer corner",
            unit="N",
            meaning="smallest load hanging on the screw",
            worst="smallest",
            figure="load on a screw, smallest",
        ),
    ]
    stop_hit: Annotated[
        NDArray[np.bool_],
        Quantity(axes="layer corner", unit="1", meaning="joint travel used up", kind="bool"),
    ]
    tail_bound: Annotated[
        Array,
        Quantity(
            axes="layer",
            unit="m",
            meaning="bound of the motion neglected after the last computed instant",
            figure="motion neglected by the solver, at most",
            of_solver=True,
        ),
    ]


REPORTED = quantities_of(LayerQuantities)
FIGURES = tuple(q for q in REPORTED if q.figure)
"""Those that a run is summed up by."""
PER_CORNER = tuple(q for q in FIGURES if any(q.columns))
"""Those that stand in tables per corner."""
