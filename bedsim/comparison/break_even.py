"""From which stiffness and friction on a joint no longer pays: a builder can bound both, not know them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.optimize import brentq

from bedsim import registry
from bedsim.analysis.linear_machine import shortened
from bedsim.analysis.metrics import lateral_peak_to_valley
from bedsim.analysis.printed import quantity, rounded
from bedsim.analysis.travel import travel_bands, whole_travel
from bedsim.comparison.travel import left_of
from bedsim.engines.equilibrium import EquilibriumEngine
from bedsim.errors import BedsimError, InputError
from bedsim.model.convert import stations_of
from bedsim.model.joint_kind import joint_kind
from bedsim.model.joint_parts import make_joints
from bedsim.number_text import number
from bedsim.results.layers import Array
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.schema import Corner
from bedsim.simulation import layer_result, make_job
from bedsim.units import MM, N_PER_UM, UM
from bedsim.wall.visibility import Viewing, smallest_visible_amplitude, wall_side

FACTORS = (1e-2, 1e2)
"""Bounds of the search: guide and frame from a hundredth to a hundred times as stiff as given."""
COEFFICIENTS = (1e-4, 10.0)
"""Bounds of the joint's friction coefficient: below the lower one it is as good as none."""
POINTS = 9
"""Places, even in the logarithm, at which a change of sign is looked for."""
CLOSE = 1e-3
"""Part of itself to which a crossing is found."""
LARGEST_PART = 0.5
"""Part of the bolted machine's error that is asked for at most where no worth is given.  Our choice."""
TURNS = 3
"""Turns of the slowest screw that are followed at most: bands repeat once per turn."""

Progress = Callable[[int], None]
STEPS = 2 * (POINTS + 6)
"""About how many evaluations `break_even` reports as progress."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Lateral peak-to-valley (m) of the rigid machine and of that with the joint over what was varied."""

    place: Array  # (k,) N/m or N, growing
    rigid: Array  # (k,)
    joint: Array  # (k,)


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """Where the joint's saving passes what it is worth.

    `at`: the crossings (N/m or N), growing; none when the saving stays on one side within the bounds.
    """

    curve: Curve
    given: float  # N/m or N, as the scenario has it
    at: tuple[float, ...]
    pays_at_low: bool
    pays_at_high: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BreakEven:
    """Both crossings, and the saving (m) of the machine as given; lengths in m, forces per corner in N.

    `seen`: what an eye sees; `left`: least and largest part of the bolted machine's band that the joint
    leaves over the whole travel, NaN where that cannot be followed.
    """

    kind: str
    worth: float
    rigid: float
    joint: float
    layers: int
    stiffness: Crossing
    friction: Crossing
    seen: float = 0.0
    left: tuple[float, float] = (math.nan, math.nan)

    @property
    def saving(self) -> float:
        """Lateral peak-to-valley that the joint takes away as the machine is given."""
        return self.rigid - self.joint


def visible_worth(loaded: LoadedScenario) -> float:
    """Peak-to-valley (m) of the smallest band of the longest lead that an eye sees on a wall as wide as the
    print is high: what is worth saving."""
    lead = max(c.screw.lead_mm for c in loaded.scenario.corner) * MM
    viewing = Viewing(side=wall_side(float(stations_of(loaded.scenario).z.max())))
    return 2.0 * float(smallest_visible_amplitude(lead, viewing))


def with_rigid_joints(loaded: LoadedScenario) -> LoadedScenario:
    """The same machine with all joints bolted."""
    bolted = next(name for name in registry.names("joint") if joint_kind(name).bolted)
    return loaded.with_values({f"corner.{c.name}.joint.kind": bolted for c in loaded.scenario.corner})


def break_even(
    loaded: LoadedScenario, worth: float | None = None, progress: Progress = lambda done: None
) -> BreakEven:
    """Find the lateral stiffness of guide and frame, and the friction of the joint, up to which it pays.

    It pays where it takes at least `worth` (m; default `visible_worth`, but at most `LARGEST_PART` of what
    there is) off the lateral peak-to-valley of the same machine with bolted joints, worst probe.  Stiffness:
    guide and frame, radial and tangential, at all corners by one factor; told as their series.  Friction: one
    coefficient at all corners; told as the force of a corner at its load and magnets.  Quasi-static (engine
    equilibrium) over the first turns, a fifth of the propagator's time.  With that, for whose ring-down rubs
    friction down, shipped machines break even at up to 0.3 % more stiffness and at 2 % less to 7 % more
    friction.  Changes of sign on an even logarithmic grid, then Brent's method [Brent1973].
    Raises InputError when no corner has a joint, or when `worth` is more than there is.  Limits: two
    crossings between neighbouring places are missed.
    """
    kinds = dict.fromkeys(c.joint.kind for c in _jointed(loaded))
    if not kinds:
        named = loaded.scenario.corner[0].joint.kind
        raise InputError(
            f'{loaded.name}: joint.kind = "{named}": there is no joint to weigh. Set the one you think of, '
            "for example --set joint.kind=rolling."
        )
    layers = followed_layers(loaded)
    rigid, joint = (lateral_pv(machine, layers) for machine in (with_rigid_joints(loaded), loaded))
    seen = visible_worth(loaded)
    _refuse_more_than_there_is(loaded, worth, rigid)
    worth = min(seen, LARGEST_PART * rigid) if worth is None else worth
    stiffness = stiffness_crossing(loaded, worth, layers, progress)
    done = stiffness.curve.place.size
    return BreakEven(
        kind=" and ".join(kinds),
        worth=worth,
        seen=seen,
        left=_left_over_travel(loaded),
        rigid=rigid,
        joint=joint,
        layers=layers,
        stiffness=stiffness,
        friction=friction_crossing(loaded, worth, layers, lambda count: progress(done + count)),
    )


def _left_over_travel(loaded: LoadedScenario) -> tuple[float, float]:
    """See `BreakEven.left`: bands at the lead, without friction."""
    try:
        bolted, jointed = (
            travel_bands(whole_travel(machine)) for machine in (with_rigid_joints(loaded), loaded)
        )
    except BedsimError:
        return math.nan, math.nan
    return left_of(bolted, jointed)


def _refuse_more_than_there_is(loaded: LoadedScenario, worth: float | None, rigid: float) -> None:
    """No joint takes more off than the bolted machine has."""
    if worth is not None and worth >= rigid:
        raise InputError(
            f"{loaded.name}: --worth-um = {worth / UM:g}: must be below {number(rigid / UM)}, the "
            f"lateral error "
            "of the machine with bolted joints: no joint takes off more than there is."
        )


def followed_layers(loaded: LoadedScenario) -> int:
    """Number of layers that are followed: `TURNS` of the screw with the longest lead, at most the print."""
    lead = max(c.screw.lead_mm for c in loaded.scenario.corner) * MM
    laid = stations_of(loaded.scenario).laid
    return min(laid.size, max(2, int(np.searchsorted(laid, TURNS * lead * (1 - 1e-9))) + 2))


def lateral_pv(loaded: LoadedScenario, layers: int) -> float:
    """Lateral peak-to-valley (m) of the worst probe over the first layers at rest, friction included."""
    job = shortened(make_job(loaded), layers)
    errors = layer_result(loaded, job, list(EquilibriumEngine().run(job))).lateral_error
    return float(np.max(lateral_peak_to_valley(errors)))


# ---- what is varied -----------------------------------------------------------------------------------


def series_stiffness(loaded: LoadedScenario) -> float:
    """Lateral stiffness (N/m) of guide and frame in series, mean over directions and corners."""
    pairs = [
        (getattr(c.guide, key), getattr(c.frame, key))
        for c in loaded.scenario.corner
        for key in ("radial_n_per_um", "tangential_n_per_um")
    ]
    return float(np.mean([1.0 / (1.0 / g + 1.0 / f) for g, f in pairs])) * N_PER_UM


def stiffer(loaded: LoadedScenario, factor: float) -> LoadedScenario:
    """The same machine with guides and frame so many times as stiff sideways."""
    values: dict[str, float] = {}
    for c in loaded.scenario.corner:
        for part in ("guide", "frame"):
            for key in ("radial_n_per_um", "tangential_n_per_um"):
                values[f"corner.{c.name}.{part}.{key}"] = factor * getattr(getattr(c, part), key)
    return loaded.with_values(values)


def friction_force(loaded: LoadedScenario, coefficient: float | None = None) -> float:
    """Sliding force (N) of a corner's joint at layer 1, mean over the corners that have one.

    Normal load: what hangs on the corner less its nut, plus magnets.  `coefficient` replaces the scenario's.
    """
    load = make_job(loaded).machine.system(np.array([1])).corner_load[0]
    forces = [
        (joint.friction if coefficient is None else coefficient) * (f + joint.pressed)
        for joint, f in zip(make_joints(loaded.scenario), load, strict=True)
        if joint is not None
    ]
    return float(np.mean(forces))


def rubbing(loaded: LoadedScenario, coefficient: float) -> LoadedScenario:
    """The same machine with another friction coefficient in all its joints."""
    return loaded.with_values(
        {f"corner.{c.name}.joint.friction_coefficient": coefficient for c in _jointed(loaded)}
    )


def _jointed(loaded: LoadedScenario) -> list[Corner]:
    return [c for c in loaded.scenario.corner if not joint_kind(c.joint.kind).bolted]


# ---- the search ---------------------------------------------------------------------------------------


def stiffness_crossing(
    loaded: LoadedScenario, worth: float, layers: int, progress: Progress = lambda done: None
) -> Crossing:
    """Where the joint's saving passes `worth` (m) as guide and frame stiffen, within `FACTORS` of what is
    given."""
    machines = (with_rigid_joints(loaded), loaded)

    def both(factor: float) -> tuple[float, float]:
        rigid, joint = (lateral_pv(stiffer(machine, factor), layers) for machine in machines)
        return rigid, joint

    return _crossing(worth, FACTORS, series_stiffness(loaded), 1.0, both, progress)


def friction_crossing(
    loaded: LoadedScenario, worth: float, layers: int, progress: Progress = lambda done: None
) -> Crossing:
    """Where the joint's saving passes `worth` (m) as its friction grows, within `COEFFICIENTS`."""
    rigid = lateral_pv(with_rigid_joints(loaded), layers)

    def both(coefficient: float) -> tuple[float, float]:
        return rigid, lateral_pv(rubbing(loaded, coefficient), layers)

    per_unit = friction_force(loaded, 1.0)
    return _crossing(worth, COEFFICIENTS, per_unit, friction_force(loaded) / per_unit, both, progress)


def _crossing(
    worth: float,
    bounds: tuple[float, float],
    unit: float,
    given: float,
    both: Callable[[float], tuple[float, float]],
    progress: Progress,
) -> Crossing:
    """Where `both` (rigid, joint) differ by the worth, between `bounds`; places are told in `unit`s."""
    known: dict[float, tuple[float, float]] = {}

    def beyond(logarithm: float) -> float:
        if logarithm not in known:
            known[logarithm] = both(math.exp(logarithm))
            progress(len(known))
        rigid, joint = known[logarithm]
        return rigid - joint - worth

    grid = [float(x) for x in np.linspace(math.log(bounds[0]), math.log(bounds[1]), POINTS)]
    pays = [beyond(x) > 0.0 for x in grid]
    found = [
        brentq(beyond, a, b, xtol=CLOSE) for k, (a, b) in enumerate(pairwise(grid)) if pays[k] != pays[k + 1]
    ]
    places = np.array(sorted(known))
    values = np.array([known[x] for x in places])
    return Crossing(
        curve=Curve(place=unit * np.exp(places), rigid=values[:, 0], joint=values[:, 1]),
        given=unit * given,
        at=tuple(unit * math.exp(x) for x in found),
        pays_at_low=pays[0],
        pays_at_high=pays[-1],
    )


# ---- words --------------------------------------------------------------------------------------------


def break_even_lines(found: BreakEven) -> list[str]:
    """The answer in sentences."""
    pays = "it pays" if found.saving >= found.worth else "it does not pay"
    return [
        f"A {found.kind} joint pays where it takes {_worth(found.worth)} off the lateral error (peak "
        f"to valley, worst probe){_less_than_seen(found)}.",
        f"As given it takes {quantity(found.saving, 'm')} off: {quantity(found.joint, 'm')} instead of "
        f"{quantity(found.rigid, 'm')} with bolted joints: {pays}.",
        *_travel_sentence(found),
        _stiffness_sentence(found.stiffness),
        _friction_sentence(found.friction),
        f"Quasi-static, first {found.layers} layers; guide and frame sideways by one factor, told in series, "
        "mean over corners; friction as the sliding force of one corner's joint. Vibration, left out here, "
        "rubs friction down: counted, it moves these limits of the shipped joints by -2 to +7 %.",
    ]


def _travel_sentence(found: BreakEven) -> list[str]:
    low, high = (f"{rounded(100 * part)} %" for part in found.left)
    return (
        []
        if math.isnan(found.left[1])
        else [
            "That is asked where this print begins. Over the whole travel, without friction, it leaves "
            f"{low} to {high} of the band at the lead, by where the nuts stand."
        ]
    )


def _less_than_seen(found: BreakEven) -> str:
    if found.worth != LARGEST_PART * found.rigid or found.worth >= found.seen:
        return ""
    return f": half of what there is, since an eye asks for {quantity(found.seen, 'm')}"


def _worth(value: float) -> str:
    return f"at least {quantity(value, 'm')}" if value else "anything"


def _per_um(stiffness: float) -> str:
    return f"{rounded(stiffness / N_PER_UM)} N/µm"


def _stiffness_sentence(c: Crossing) -> str:
    now = f"given: {_per_um(c.given)}"
    low, high = (_per_um(c.curve.place[k]) for k in (0, -1))
    if not c.at:
        word = "always" if c.pays_at_low else "never"
        return f"Stiffness: the joint {word} pays between {low} and {high} ({now})."
    if len(c.at) == 1 and c.pays_at_low:
        return f"The joint pays only if guide and frame are softer than {_per_um(c.at[0])} ({now})."
    if len(c.at) == 1:
        return f"The joint pays only if guide and frame are stiffer than {_per_um(c.at[0])} ({now})."
    return f"The joint pays only with guide and frame {_between(c, _per_um)} ({now})."


def _friction_sentence(c: Crossing) -> str:
    def force(value: float) -> str:
        return quantity(value, "N")

    now = f"given: {force(c.given)}"
    low, high = (force(float(c.curve.place[k])) for k in (0, -1))
    if not c.at:
        word = "always" if c.pays_at_low else "never"
        return f"Friction: the joint {word} pays between {low} and {high} ({now})."
    if len(c.at) == 1 and c.pays_at_low:
        return f"Its friction must stay under {force(c.at[0])} per corner ({now})."
    return f"It pays only with friction {_between(c, force)} per corner ({now})."


def _between(c: Crossing, say: Callable[[float], str]) -> str:
    """The stretches where the joint pays, each between two crossings or open to one side."""
    ends = list(c.at)
    parts = [f"under {say(ends.pop(0))}"] if c.pays_at_low else []
    while len(ends) >= 2:
        parts.append(f"between {say(ends.pop(0))} and {say(ends.pop(0))}")
    return " or ".join([*parts, *(f"over {say(e)}" for e in ends)])
