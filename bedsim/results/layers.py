"""The outcome of one run, layer by layer, in SI; names are those of the result file.

Every annotated field is a dataset of the file: `bedsim.results.schema` reads them here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from bedsim.quantities import LayerQuantities, Quantity
from bedsim.results.answer import Array, Names, RunAnswer
from bedsim.shown import Shown

_POSE = "bed against its commanded pose: t and twist m, w rad"


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Trace(Shown):
    """Time history of one layer, from the start of its layer change; `height` and `lateral` are raw."""

    layer: int
    time: Annotated[Array, Quantity(axes="time", unit="s", meaning="time from the start of the layer change")]
    pose: Annotated[Array, Quantity(axes="time bed_coordinate", unit="m, rad", meaning=_POSE)]
    height: Annotated[
        Array, Quantity(axes="time probe", unit="m", meaning="height error, not referred to layer 1")
    ]
    lateral: Annotated[
        Array,
        Quantity(
            axes="time probe axis",
            unit="m",
            meaning="lateral error at the top of the part, not referred to layer 1",
        ),
    ]
    joint: Annotated[
        Array,
        Quantity(
            axes="time corner axis", unit="m", meaning="nut minus carriage at the joint, turning left out"
        ),
    ]
    load_angle: Annotated[
        Array, Quantity(axes="time corner", unit="rad", meaning="load angle of the motor, electrical")
    ]
    commanded_height: Annotated[Array, Quantity(axes="time", unit="m", meaning="commanded height of the bed")]


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class LayerResult(Shown, LayerQuantities):
    """Errors of every layer of one print, and all `LayerQuantities`.

    `height_error`, `lateral_error`, `tilt` and `thickness_error` are relative to the first layer; the `_raw`
    arrays are not.  Positive height error: bed nearer the nozzle.  Lateral error is taken at the current top
    of the part.
    """

    layer: Annotated[
        NDArray[np.int64], Quantity(axes="layer", unit="1", meaning="layer number, from 1", kind="int64")
    ]
    probe_name: Annotated[
        Names, Quantity(axes="probe", unit="", meaning="name of the probe", kind="text", name="probe")
    ]
    corner_name: Annotated[
        Names, Quantity(axes="corner", unit="", meaning="name of the corner", kind="text", name="corner")
    ]
    print_height: Annotated[
        Array, Quantity(axes="layer", unit="m", meaning="top of the part after the layer")
    ]
    commanded_height: Annotated[
        Array, Quantity(axes="layer", unit="m", meaning="commanded height of the bed against layer 1")
    ]
    nut_position: Annotated[
        Array,
        Quantity(axes="layer corner", unit="m", meaning="nut above the lower end of the screw's free length"),
    ]
    probe_position: Annotated[Array, Quantity(axes="probe axis", unit="m", meaning="place of the probe")]
    corner_position: Annotated[
        Array, Quantity(axes="corner axis", unit="m", meaning="place of the screw axis")
    ]
    height_error: Annotated[
        Array,
        Quantity(
            axes="layer probe", unit="m", meaning="height error against layer 1, positive nearer the nozzle"
        ),
    ]
    lateral_error: Annotated[
        Array,
        Quantity(
            axes="layer probe axis",
            unit="m",
            meaning="lateral error against layer 1 at the top of the part",
        ),
    ]
    height_raw: Annotated[
        Array, Quantity(axes="layer probe", unit="m", meaning="height error, not referred to layer 1")
    ]
    lateral_raw: Annotated[
        Array,
        Quantity(
            axes="layer probe axis",
            unit="m",
            meaning="lateral error at the top of the part, not referred to layer 1",
        ),
    ]
    pose_raw: Annotated[Array, Quantity(axes="layer bed_coordinate", unit="m, rad", meaning=_POSE)]
    tilt: Annotated[
        Array, Quantity(axes="layer rotation", unit="rad", meaning="rotation of the bed against layer 1")
    ]
    thickness_error: Annotated[
        Array,
        Quantity(
            axes="layer probe", unit="m", meaning="layer thickness minus the commanded one, 0 for layer 1"
        ),
    ]
    trace: tuple[Trace, ...] = ()


SPREAD_MOMENTS = ("xx", "xy", "yy", "xs", "ys", "ss", "hh")
"""Products of half ranges: x, y sideways, h height, s height less that of the layer before."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Open:
    """What the uncertain numbers of the scenario leave open of every layer; of figures it stands with the
    run's answer."""

    layer: Annotated[
        NDArray[np.int64], Quantity(axes="layer", unit="1", meaning="layer number, from 1", kind="int64")
    ]
    spread: Annotated[
        Array,
        Quantity(
            axes="layer probe moment",
            unit="m2",
            meaning="half ranges of the errors at a layer, their products summed over the uncertain keys, "
            "each alone, without friction; not a number where it is not known",
        ),
    ]
    method: str  # how the ranges were found, a sentence


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Run(Shown):
    """A finished run: the scenario as written and as resolved, who solved it, and the layers."""

    layers: LayerResult
    # text of the file (with overrides appended as comments), or of the resolved scenario
    scenario_source: str
    scenario_resolved: str  # TOML of the complete scenario
    engine: str
    solver_message: str
    seed: int
    created: str  # ISO 8601, UTC
    program_version: str
    tables: Mapping[str, Array] = field(
        default_factory=dict
    )  # CSV tables by the path as written, see the loader
    statistics: dict[str, float] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    program: str = "unknown"  # its identity: code, libraries, kernels
    open: Open | None = None
    answer: RunAnswer | None = None  # what it says in the end, where that was worked out
