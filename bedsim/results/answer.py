"""What a run says in the end, kept beside its layers: figures with ranges, causes, and what to measure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from bedsim.quantities import Quantity
from bedsim.shown import Shown

Array = NDArray[np.float64]
Names = tuple[str, ...]

SINCE = (1, 2)
"""Version of the result file that brought it."""


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class RunAnswer(Shown):
    """`verdict`: the sentence on top of the summary.  Figures are those of `bedsim run`, each in its own SI
    unit; sources are causes with their corners, "" for the whole machine; keys stand with the one that moves
    the answer most first."""

    verdict: str
    figure: Annotated[
        Names, Quantity(axes="figure", unit="", meaning="name of a figure", kind="text", since=SINCE)
    ]
    figure_unit: Annotated[
        Names, Quantity(axes="figure", unit="", meaning="SI unit of the figure", kind="text", since=SINCE)
    ]
    figure_text: Annotated[
        Names, Quantity(axes="figure", unit="", meaning="what the figure says", kind="text", since=SINCE)
    ]
    figure_where: Annotated[
        Names, Quantity(axes="figure", unit="", meaning="probe or corner", kind="text", since=SINCE)
    ]
    figure_value: Annotated[
        Array, Quantity(axes="figure", unit="SI, see figure_unit", meaning="value of the figure", since=SINCE)
    ]
    figure_low: Annotated[
        Array,
        Quantity(
            axes="figure",
            unit="SI, see figure_unit",
            meaning="low end of what uncertain keys leave open, not a number where it was not worked out",
            since=SINCE,
        ),
    ]
    figure_high: Annotated[
        Array,
        Quantity(axes="figure", unit="SI, see figure_unit", meaning="its high end, likewise", since=SINCE),
    ]
    source: Annotated[
        Names, Quantity(axes="source", unit="", meaning="cause and corner", kind="text", since=SINCE)
    ]
    source_cause: Annotated[
        Names, Quantity(axes="source", unit="", meaning="cause", kind="text", since=SINCE)
    ]
    source_corner: Annotated[
        Names,
        Quantity(
            axes="source", unit="", meaning="corner, empty: the whole machine", kind="text", since=SINCE
        ),
    ]
    source_height: Annotated[
        Array,
        Quantity(axes="source", unit="m", meaning="height error it makes alone, peak to valley", since=SINCE),
    ]
    source_lateral: Annotated[
        Array,
        Quantity(
            axes="source", unit="m", meaning="lateral error it makes alone, peak to valley", since=SINCE
        ),
    ]
    key: Annotated[
        Names,
        Quantity(
            axes="key", unit="", meaning="uncertain key, what moves most first", kind="text", since=SINCE
        ),
    ]
    key_basis: Annotated[
        Names, Quantity(axes="key", unit="", meaning="what its range rests on", kind="text", since=SINCE)
    ]
    key_swing: Annotated[
        Array,
        Quantity(
            axes="key",
            unit="m",
            meaning="how far it alone moves the lateral error, peak to valley, over its range",
            since=SINCE,
        ),
    ]
