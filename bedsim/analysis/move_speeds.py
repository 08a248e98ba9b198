"""`bedsim size --speeds`: at which speeds a layer change shakes the bed, what does it, and a good speed near.

A motor's place error of order k pushes k N_r times per turn, so at the speed v k N_r turn v/(2 pi) times a
second; where that meets a mode of f Hz the move rides on it: v = f lead/(k N_r i), f lead/50, /100, /150 and
/200 for a motor of 1.8 degrees.  Derivation: v = (lead/2 pi) w.  Most layer changes are too short to stay at
one speed: they pass through resonances below the speed they are set to.  So every speed is followed as a move
(`engines/moves.py`), and its cause is found by leaving out one order after the other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bedsim.analysis.cautions import cautions
from bedsim.analysis.printed import quantity
from bedsim.engines.base import Job
from bedsim.engines.moves import Bench, Move, Moved, follow
from bedsim.errors import BedsimError
from bedsim.model.joint_parts import bed_loads
from bedsim.number_text import number
from bedsim.results.layers import LayerResult
from bedsim.scenario.load import LoadedScenario
from bedsim.simulation import make_job
from bedsim.units import MM_S, MM_S2

Array = NDArray[np.float64]

KEEPS = 0.5  # share of its load that every mount keeps at a good speed: our choice
NAMED = 0.8  # share below which `bedsim size` names what does it
ORDERS = (1, 2, 3, 4)
PHASES = 4  # layers at most that are looked at: they start elsewhere in the four full steps
SPEEDS = 31
SPARSER = 3  # speeds left out at other accelerations
AROUND = 4.0  # times the speed as set, up and down
OTHERS = (0.5, 2.0)  # times the acceleration as set
FELT = 0.05  # share of a mount's load from which an order counts as the cause
FELT_HEIGHT = 0.5e-6  # m of vibration when printing starts that is worth a sentence: our choice
SMEARED = 0.5  # rad of an error's own phase: beyond it the commanded angle is no longer good enough


@dataclass(frozen=True, slots=True, kw_only=True)
class Ride:
    """One speed and acceleration, the worst of its layers, SI.

    `least`, `resting` (c,) N on mounts (screws where bolted); `vibration` m when printing starts; `swing` of
    the rotors, electrical rad.
    """

    speed: float
    acceleration: float
    least: Array
    resting: Array
    vibration: float
    swing: float

    @property
    def share(self) -> float:
        """What the worst corner keeps of its load; below 0 it lifts."""
        return float((self.least / self.resting).min())

    @property
    def worst(self) -> int:
        """Number of that corner."""
        return int((self.least / self.resting).argmin())


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """What a move rides on: place error of an `order`, a mode of `frequency` Hz, met at `speed` m/s;
    `without`: the share that would be kept without that order."""

    order: int
    frequency: float
    mode: str
    speed: float
    without: float

    @property
    def words(self) -> str:
        """In a sentence."""
        cycles = f"{self.order} cycle{'s' * (self.order > 1)} in four full steps"
        return (
            f"the motors' place error of order {self.order} ({cycles}) excites {self.mode} at "
            f"{number(self.frequency)} Hz, met at {number(self.speed / MM_S, 2)} mm/s"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedReport:
    """The whole answer; rides by speed `here`, at the acceleration as set, and at `others`, one row each."""

    title: str
    as_set: Ride
    here: tuple[Ride, ...]
    others: tuple[tuple[Ride, ...], ...]
    resonances: tuple[Cause, ...]
    avoid: tuple[tuple[float, float], ...]
    sentence: str
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]


def speed_scenario(loaded: LoadedScenario) -> SpeedReport:
    """Scan speeds and accelerations of the layer change.

    Raises ModelError or InputError where `bedsim run` refuses the machine.
    """
    job = make_job(loaded)
    bench = bench_of(job)
    limits = job.program.limits
    top = fastest(job, limits.acceleration)
    speeds = np.geomspace(min(limits.speed, top) / AROUND, min(limits.speed * AROUND, top), SPEEDS)
    asked = [(limits.speed, limits.acceleration), *((v, limits.acceleration) for v in speeds)]
    others = [(v, factor * limits.acceleration) for factor in OTHERS for v in speeds[::SPARSER]]
    as_set, *found = rides(bench, [*asked, *others])
    here, rest = found[: speeds.size], found[speeds.size :]
    avoid = avoided(here)
    return SpeedReport(
        title=loaded.scenario.title,
        as_set=as_set,
        here=tuple(here),
        others=tuple(tuple(r for r in rest if r.acceleration == f * limits.acceleration) for f in OTHERS),
        resonances=tuple(_resonances(bench, speeds)),
        avoid=avoid,
        sentence=_sentence(bench, as_set, here, avoid),
        assumptions=_assumptions(bench, as_set, here),
        cautions=cautions(loaded.scenario),
    )


def bench_of(job: Job) -> Bench:
    """The machine at its first layer: the lightest bed lifts first."""
    return Bench(job=job, system=job.machine.system(np.array([1])))


def fastest(job: Job, acceleration: float) -> float:
    """Speed m/s that a layer change reaches where nothing but its acceleration limits it."""
    limits = replace(job.program.limits, speed=1e3, acceleration=acceleration)
    profile = job.program.at(limits).layer_change(1)
    return float(np.abs(profile.speed(profile.time)).max())


def layers(job: Job, per_metre: float) -> list[int]:
    """Layers that start at different places in the four full steps; `per_metre`: electrical rad."""
    found: dict[int, int] = {}
    for layer in range(1, job.program.layers + 1):
        turns = float(job.program.height(layer - 1)) * per_metre / (2 * np.pi)
        found.setdefault(round(64 * (turns % 1.0)) % 64, layer)
        if len(found) == PHASES:
            break
    return list(found.values())


def per_metre(bench: Bench) -> float:
    """Electrical rad of the motors per metre of height, of the one that turns most."""
    height = np.abs(bench.height_per_angle)
    return float((bench.job.machine.motor_electrical[:, None] / np.where(height == 0, np.inf, height)).max())


def moves(bench: Bench, speed: float, acceleration: float, without: int = 0) -> list[Move]:
    """The layer changes looked at, one order of the place error left out if asked."""
    job = bench.job
    program = job.program.at(replace(job.program.limits, speed=speed, acceleration=acceleration))
    kept = np.array([s.order != without for s in job.machine.sources])
    return [
        Move(program=program, layer=k, amounts=job.amounts[0] * kept) for k in layers(job, per_metre(bench))
    ]


def rides(bench: Bench, asked: Sequence[tuple[float, float]]) -> list[Ride]:
    """What is left at pairs of speed m/s and acceleration m/s2."""
    every = [moves(bench, v, a) for v, a in asked]
    count = len(every[0])
    found = follow(bench, [move for group in every for move in group])
    return [_ride(found, slice(k * count, (k + 1) * count), v, a) for k, (v, a) in enumerate(asked)]


def _ride(found: Moved, here: slice, speed: float, acceleration: float) -> Ride:
    return Ride(
        speed=speed,
        acceleration=acceleration,
        least=found.least[here].min(axis=0),
        resting=found.resting[here].min(axis=0),
        vibration=float(found.height[here].max()),
        swing=float(found.swing[here].max()),
    )


def cause_at(bench: Bench, speed: float, acceleration: float) -> Cause | None:
    """Which order takes most off the worst corner, and on which mode it rides; None where none takes much."""
    variants = [moves(bench, speed, acceleration, without) for without in (0, *ORDERS)]
    count = len(variants[0])
    found = follow(bench, [move for group in variants for move in group])
    share = (found.least / found.resting).reshape(len(variants), count, -1)
    kept = share.min(axis=(1, 2))
    order = int(np.argmax(kept[1:])) + 1
    if kept[order] - kept[0] < FELT:
        return None
    layer, corner = np.unravel_index(int(share[0].argmin()), share[0].shape)
    peak = found.peak.reshape(len(variants), count, -1)
    shaken = np.abs(bench.seat_maps[corner]) * (peak[0, layer] - peak[order, layer])
    return _cause(bench, order, int(np.argmax(shaken)), float(kept[order]))


def _cause(bench: Bench, order: int, mode: int, without: float) -> Cause:
    rate = float(bench.frequency[mode])
    return Cause(
        order=order,
        frequency=rate / (2 * np.pi),
        mode=mode_words(bench, mode),
        speed=rate / (order * per_metre(bench)),
        without=without,
    )


def mode_words(bench: Bench, mode: int) -> str:
    """What moves in a mode, by kinetic energy."""
    machine = bench.job.machine
    shape = bench.system.modes[0][:, mode]
    energy = np.zeros(machine.coordinates.size)
    energy[list(machine.kept)] = shape * (bench.system.M[0] @ shape)
    rotors = [machine.coordinates.rotor(c) for c in range(machine.coordinates.corners)]
    rotors += [machine.coordinates.motor] * machine.coordinates.shared_motor
    parts = {
        "the rotors' swing on their magnetic springs": energy[rotors].sum(),
        "the bed's up and down": energy[2],
        "the bed's tilting": energy[3:5].sum(),
        "the bed's sideways motion": energy[[0, 1, 5]].sum(),
    }
    parts["the carriages' swing"] = energy.sum() - sum(parts.values())
    return max(parts, key=lambda words: float(parts[words]))


def _resonances(bench: Bench, speeds: Array) -> list[Cause]:
    """Where the two modes that motors shake the seats by most meet an order within the speeds looked at."""
    chosen = shaken_most(bench, 2)
    used = {bench.job.machine.sources[k].order for k in bench.job.machine.active_sources}
    orders = [k for k in ORDERS if k in used]
    every = [_cause(bench, order, mode, np.nan) for mode in chosen for order in orders]
    return [c for c in every if speeds[0] <= c.speed <= speeds[-1]]


def shaken_most(bench: Bench, count: int) -> list[int]:
    """Numbers of the modes by which motors shake the seats most, at frequencies a tenth or more apart."""
    pushed = np.abs(bench.motor_maps).sum(axis=0) / (2 * bench.decay * bench.frequency)
    strength = np.abs(bench.seat_maps).sum(axis=0) * pushed
    chosen: list[int] = []
    for mode in np.argsort(strength)[::-1]:
        if all(abs(bench.frequency[mode] / bench.frequency[k] - 1) > 0.1 for k in chosen):
            chosen.append(int(mode))
        if len(chosen) == count:
            break
    return chosen


def avoided(here: Sequence[Ride]) -> tuple[tuple[float, float], ...]:
    """Spans of speeds m/s at which a corner keeps less than `KEEPS`, halfway to the speeds beside them."""
    bad = np.array([r.share < KEEPS for r in here])
    edges = np.flatnonzero(np.diff(np.concatenate([[0], bad.astype(int), [0]])))
    v = np.array([r.speed for r in here])
    between = np.concatenate([v[:1], np.sqrt(v[:-1] * v[1:]), v[-1:]])
    return tuple((float(between[i]), float(between[j])) for i, j in zip(edges[::2], edges[1::2], strict=True))


def good_speed(as_set: Ride, here: Sequence[Ride]) -> Ride | None:
    """The nearest speed at which every corner keeps its share, at the speeds beside it too."""
    kept = [r.share >= KEEPS for r in here]
    sound = [r for k, r in enumerate(here) if all(kept[max(k - 1, 0) : k + 2])]
    return min(sound, key=lambda r: abs(np.log(r.speed / as_set.speed)), default=None)


def _sentence(bench: Bench, as_set: Ride, here: Sequence[Ride], avoid: Sequence[tuple[float, float]]) -> str:
    limits = bench.job.program.limits
    cause = cause_at(bench, limits.speed, limits.acceleration)
    told = f"At {number(limits.speed / MM_S)} mm/s, as set, {kept_words(bench, as_set)}"
    told += f": {cause.words}. " if cause else ". "
    if not avoid:
        return told + f"No speed up to {number(here[-1].speed / MM_S, 2)} mm/s takes more than half of it."
    every = [_span(low, high, here) for low, high in avoid]
    spans = " and ".join([", ".join(every[:-1]), every[-1]] if every[1:] else every)
    good = good_speed(as_set, here)
    better = f"; {number(good.speed / MM_S, 2)} mm/s keeps {100 * good.share:.0f} %" if good else ""
    return told + f"Avoid {spans}{better if as_set.share < KEEPS else ''}."


def _span(low: float, high: float, here: Sequence[Ride]) -> str:
    if high == here[-1].speed:
        return f"{number(low / MM_S, 2)} mm/s and more"
    return f"{number(low / MM_S, 2)} to {number(high / MM_S, 2)} mm/s"


def kept_words(bench: Bench, ride: Ride) -> str:
    """What the worst corner keeps, and what is left when printing starts."""
    corner = ride.worst
    least, resting = float(ride.least[corner]), float(ride.resting[corner])
    seat = "screw" if bench.observer.mount_rows[corner] < 0 else "mount"
    name = bench.job.machine.corner_names[corner]
    if least > 0:
        kept = f"the {seat} at {name} keeps {quantity(least, 'N')} of its {quantity(resting, 'N')}"
    else:
        kept = f"the {seat} at {name} would need a pull of {quantity(-least, 'N')} and lifts"
    return f"{kept}, and {quantity(ride.vibration, 'm')} of vibration is left when printing starts"


def _assumptions(bench: Bench, as_set: Ride, here: Sequence[Ride]) -> tuple[str, ...]:
    top = fastest(bench.job, as_set.acceleration) / MM_S
    lines = [
        "Contacts stuck, so friction damps nothing: a resonance is at most as high as shown. First layer; "
        "place errors as given, their phases too.",
        f"A layer change reaches {number(top)} mm/s at {number(as_set.acceleration / MM_S2, 4)} mm/s²: "
        f"a higher setting "
        "changes nothing.",
    ]
    widest = max(here, key=lambda r: r.swing)
    return (*lines, smeared_words(bench, widest)) if is_smeared(widest) else tuple(lines)


def is_smeared(ride: Ride) -> bool:
    """Whether rotors swing too far for a place error at the commanded angle."""
    return max(ORDERS) * ride.swing > SMEARED


def smeared_words(bench: Bench, ride: Ride) -> str:
    """Caution about the commanded angle, with what it would say."""
    (plain,) = rides(replace(bench, actual=False), [(ride.speed, ride.acceleration)])
    return (
        f"At {number(ride.speed / MM_S, 2)} mm/s the rotors swing by "
        f"{number(max(ORDERS) * ride.swing, 2)} rad of the "
        "fourth order's phase. bedsim run takes a place error at the commanded angle, good up to half a "
        f"radian: so {_percent(plain)} would be kept, with the error where the rotor is {_percent(ride)}."
    )


def _percent(ride: Ride) -> str:
    return f"{100 * ride.share:.0f} %"


def taken_off(loaded: LoadedScenario) -> tuple[list[float | None], str]:
    """Most that the layer change as set takes off every mount (N; None where bolted, or where `bedsim run`
    refuses the machine), and what does it."""
    try:
        bench = bench_of(make_job(loaded))
        limits = bench.job.program.limits
        (ride,) = rides(bench, [(limits.speed, limits.acceleration)])  # asks for the rest of side forces
    except BedsimError:
        return [None] * len(loaded.scenario.corner), ""
    cause = cause_at(bench, limits.speed, limits.acceleration) if ride.share < NAMED else None
    free = bench.observer.mount_rows >= 0
    taken = ride.resting - ride.least
    return [float(t) if f else None for t, f in zip(taken, free, strict=True)], cause.words if cause else ""


def shaken_warnings(loaded: LoadedScenario, layers: LayerResult) -> tuple[str, ...]:
    """Why a run's layer changes shake the bed, where they take more than half of a mount's load or leave
    vibration when printing starts."""
    pressed = (
        np.array([c.mount.magnet_force_n for c in loaded.scenario.corner]) + bed_loads(loaded.scenario)[0]
    )
    least = layers.mount_force.min(axis=0)  # not a number where bolted: never small
    if not (least < KEEPS * pressed).any() and layers.residual_height.max() < FELT_HEIGHT:
        return ()
    return tuple(words for words in (why_shaken(loaded),) if words)


def why_shaken(loaded: LoadedScenario) -> str:
    """What shakes the mounts at the speed as set, in a sentence for a run; empty where nothing takes half."""
    try:
        bench = bench_of(make_job(loaded))
    except BedsimError:
        return ""
    limits = bench.job.program.limits
    (ride,) = rides(bench, [(limits.speed, limits.acceleration)])
    cause = cause_at(bench, limits.speed, limits.acceleration) if ride.share < KEEPS else None
    if cause is None:
        return ""
    return (
        f"a layer change at {number(limits.speed / MM_S)} mm/s shakes the bed: {cause.words}; without "
        f"that error "
        f"{100 * cause.without:.0f} % of the load would stay on every mount. bedsim size --speeds shows "
        "better speeds." + (f" {smeared_words(bench, ride)}" if is_smeared(ride) else "")
    )
