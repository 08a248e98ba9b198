"""The outcome of a sweep: parts of cells as they are finished, and the whole."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from bedsim.shown import Shown

Array = NDArray[np.float64]

UNMEASURED = (float("nan"), float("nan"))
UNKNOWN_ENDS = (float("nan"), float("nan"))


@dataclass(frozen=True, slots=True, kw_only=True)
class CellPart:
    """Some members of one cell: `first` on, `figures` (m, metrics) SI, `stopped` (m,), see `CellResult`.

    `other_meets` (lots, k): whether the first k printers meet the target with each alternative lot,
    `own_meets` (k,) with the lot itself; empty except in the part with member 0.  `envelope` (kept members,
    layers, 2) m; `engine_error` m of height and sideways that the engine measured, NaN: none.
    """

    cell: int
    first: int
    figures: Array
    stopped: NDArray[np.bool_]
    own_meets: NDArray[np.bool_]
    other_meets: NDArray[np.bool_]
    envelope: NDArray[np.float32]
    engine_error: tuple[float, float] = UNMEASURED

    @property
    def members(self) -> int:
        """Printers in this part."""
        return self.figures.shape[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class MachinePart:
    """One cell in one drawn machine: `share` of its printers that meet the target, `lot_share` those of
    another lot drawn for this machine (NaN: no target, or no other lot), median errors, peak to valley, m.

    Machine 0 is the likely one; NaN everywhere where the draw makes no machine.  `members`: printers.
    """

    cell: int
    machine: int
    members: int
    share: float
    lot_share: float
    lateral: float
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyPart:
    """What some uncertain keys, `first` on in the order of the cell's ranges, do to its first printers.

    `change` (keys, 2, 2, printers): logarithm of the factor on lateral and height error at the key's low and
    high, without friction; NaN where a value makes no machine.  `extent` (2, printers) m: as likely.
    """

    cell: int
    first: int
    change: Array
    extent: Array

    @property
    def members(self) -> int:
        """Printers."""
        return self.extent.shape[-1]


Part = CellPart | MachinePart | KeyPart


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """What is not known of the machine, for the cell the choice turns on (`cell`).

    `keys` with their `basis`, most worth measuring first; `part` (k,): share of the variance of the errors'
    logarithm over machines; `surer` (k,): share of machines in which the choice would be right with the key
    known; `now`: with none known.  `foretold`: root mean square of what the keys one by one say of the shares
    in the drawn machines and what these are.
    """

    cell: int
    now: float
    keys: tuple[str, ...]
    basis: tuple[str, ...]
    part: Array
    surer: Array
    foretold: float


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class CellResult(Shown):
    """One finished cell.

    `figures` (m, metrics) SI; `stopped` (m,) joint travel used up; `meets` (m,) the target; `quantiles` (q,
    metrics); `probability` with Wilson's interval `wilson` and with `lot_interval`, which holds what is not
    known of the lot (NaN: not worked out); `envelope` (layers, q, 2): quantiles of the largest lateral and
    height error over the probes, m. `settings`: keys and values as JSON; `price` NaN where not all prices are
    given; `engine_error` m of height and sideways that the engine measured on some printers, NaN: none.
    `machine_interval` holds what is not known of the machine, `whole_interval` luck, lot and machine;
    `machines` (machines, 4): share, share with a lot of its own, median lateral and height error (m) in every
    drawn machine, the likely one first.
    """

    index: int
    label: str
    place: tuple[int, ...]
    settings: str
    group: int
    figures: Array
    stopped: NDArray[np.bool_]
    meets: NDArray[np.bool_]
    quantiles: Array
    probability: float
    wilson: tuple[float, float]
    lot_interval: tuple[float, float]
    price: float
    reject_price: float
    envelope: Array
    print_height: Array
    engine_error: tuple[float, float] = UNMEASURED
    machine_interval: tuple[float, float] = UNKNOWN_ENDS
    whole_interval: tuple[float, float] = UNKNOWN_ENDS
    machines: Array = field(default_factory=lambda: np.zeros((0, 4)))

    @property
    def members(self) -> int:
        """Printers drawn."""
        return self.figures.shape[0]


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class SweepResult(Shown):
    """A finished sweep: plan and scenario as text, axes, cells, and what matters most.

    `axis_names` with `axis_labels`; `sensitivity_names` with `first_order` and `total_order` shares of the
    variance of the figure `sensitivity_of` (empty where the plan is no full grid); targets in m, NaN: none.
    """

    title: str
    plan_source: str
    scenario_source: str
    scenario_resolved: str
    fingerprint: str
    engine: str
    seed: int
    program_version: str
    program: str  # identity
    created: str
    notes: tuple[str, ...]
    metrics: tuple[str, ...]
    levels: Array
    axis_names: tuple[str, ...]
    axis_labels: tuple[tuple[str, ...], ...]
    lateral_target: float
    height_target: float
    wanted_probability: float
    confidence: float
    currency: str
    cells: tuple[CellResult, ...]
    sensitivity_of: str = ""
    sensitivity_names: tuple[str, ...] = ()
    first_order: Array = field(default_factory=lambda: np.zeros(0))
    total_order: Array = field(default_factory=lambda: np.zeros(0))
    doubt: Doubt | None = None
