"""`bedsim size --shake`: what a shaken frame does at the nozzle, how long to wait after a layer change."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.analysis.cautions import cautions
from bedsim.engines import base
from bedsim.engines.base import Job
from bedsim.errors import InputError
from bedsim.model.convert import pieces_of
from bedsim.number_text import number
from bedsim.scenario.event_keys import Disturbance
from bedsim.scenario.histories import read_history
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.sections import complete_sections
from bedsim.shake import disturbance, shaken
from bedsim.shake.disturbance import Modes, Signal
from bedsim.simulation import make_job, probe_points
from bedsim.units import DEG, MM_S, MM_S2, UM

Array = NDArray[np.float64]

RING = 0.5  # s of free swinging shown after the push
RINGING_OUT = 7.0  # of the frame's decay: a thousandth is left
LONGEST_RING = 10.0  # s of it that are followed
STUCK = 0.3  # of the breakaway travel: beyond it contacts begin to slide and damp


@dataclass(frozen=True, slots=True, kw_only=True)
class ShakeRow:
    """The answer at one layer, SI: `time` (t,), `lateral` (t, 2), `height` (t,) at the nozzle.

    `dwell_*`: time until the residual stays below the target, with the likely and with the lowest damping.
    """

    layer: int
    frequency: Array  # (3,) Hz, of the modes that move the point most, strongest first
    time: Array
    lateral: Array
    height: Array
    after_change: Array  # (t2, 3) m, x, y and height after a layer change
    after_time: Array
    steady: float  # m, sideways under the lasting acceleration
    dwell_shaken: tuple[float, float]
    dwell_change: tuple[float, float]
    slip: float  # largest way of a contact over its breakaway travel

    @property
    def peak_lateral(self) -> float:
        """Largest sideways motion m."""
        return float(np.linalg.norm(self.lateral, axis=1).max())

    @property
    def peak_height(self) -> float:
        """Largest vertical motion m."""
        return float(np.abs(self.height).max())


@dataclass(frozen=True, slots=True, kw_only=True)
class ShakeReport:
    """The whole answer; `push_end` s is when the push has ended, `settle` s the scenario's own pause, at
    least, and what says it."""

    title: str
    rows: tuple[ShakeRow, ...]
    push_end: float
    target: float
    settle: float
    said_by: str
    frame_peak: float  # m/s2
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def suggested(self) -> float:
        """Pause s after a layer change that lets both residuals fall below the target, at least damping."""
        return max(max(row.dwell_change[1], row.dwell_shaken[1]) for row in self.rows)


def shake_scenario(loaded: LoadedScenario) -> ShakeReport:
    """Compute the response at the part's top, over its centre, at the first and the last layer, of
    objects also where the last begins and where the bed is lowest.

    Raises InputError for a history that cannot be used.
    """
    scenario, job = loaded.scenario, make_job(loaded)
    keys = scenario.disturbance or Disturbance()
    signal, push_end, words = frame_acceleration(loaded, keys)
    low, likely = _damping(loaded)
    pieces, probes = pieces_of(scenario), probe_points(loaded)[1]
    rows = [
        _row(job, keys, layer, signal, push_end, np.vstack([pieces.place(layer), probes]), low)
        for layer in job.machine.stations.ends
    ]
    return ShakeReport(
        title=scenario.title,
        rows=tuple(rows),
        push_end=push_end,
        target=keys.residual_um * UM,
        settle=min(s.settle_s for s in complete_sections(scenario.print, scenario.motion)),
        said_by="the program" if scenario.print.laid is not None else "print.settle_s",
        frame_peak=float(max(np.abs(signal.start).max(), np.abs(signal.end).max())),
        assumptions=(*words, *_assumptions(likely, low, tuple(job.machine.part_damping), rows)),
        cautions=(
            *cautions(scenario),
            "These motions are computed from the numbers above and nothing else; an accelerometer on frame "
            "and bed tells what the machine does.",
        ),
    )


def frame_acceleration(loaded: LoadedScenario, keys: Disturbance) -> tuple[Signal, float, tuple[str, ...]]:
    """Acceleration m/s2 of the frame over time, when the push ends s, and what it rests on."""
    if keys.history is not None:
        return _measured(loaded, keys)
    force = -keys.gantry_mass_kg * keys.acceleration_mm_s2 * MM_S2
    length = 0.25 if keys.speed_mm_s is None else keys.speed_mm_s * MM_S / (keys.acceleration_mm_s2 * MM_S2)
    acts = disturbance.pulse(force, length)
    return (
        _frame(acts, keys),
        length,
        (
            f"The gantry of {keys.gantry_mass_kg:g} kg is accelerated with {keys.acceleration_mm_s2:g} mm/s² "
            f"for {number(length)} s and pushes the frame of {keys.frame_mass_kg:g} kg back; {_feet(keys)}.",
        ),
    )


def _measured(loaded: LoadedScenario, keys: Disturbance) -> tuple[Signal, float, tuple[str, ...]]:
    assert keys.history is not None
    where = f'{loaded.name}: disturbance.history = "{keys.history}"'
    column, data = read_history(loaded.folder, keys.history, where)
    end = float(data[-1, 0] - data[0, 0])
    if end > 60.0:
        raise InputError(f"{where}: lasts {number(end)} s. Allowed: up to 60 s.")
    if column == "force_n":
        acts = disturbance.polygon(data[:, 0], data[:, 1])
        words = f"The force of {keys.history} acts on the frame of {keys.frame_mass_kg:g} kg; {_feet(keys)}."
        return _frame(acts, keys), end, (words,)
    acts = disturbance.polygon(data[:, 0], data[:, 1] * MM_S2)
    return (
        disturbance.followed_by_rest(acts, RING),
        end,
        (
            f"The frame is accelerated as measured in {keys.history}: its mass and its feet are in it "
            "already (frame_mass_kg, frame_hz, frame_damping_ratio are not used).",
        ),
    )


def _frame(acts: Signal, keys: Disturbance) -> Signal:
    if keys.frame_hz is None:
        return disturbance.followed_by_rest(acts, RING).scaled(1.0 / keys.frame_mass_kg)
    w = 2 * math.pi * keys.frame_hz
    ring = min(max(RING, RINGING_OUT / (keys.frame_damping_ratio * w)), LONGEST_RING)
    return shaken.shaken_frame(
        disturbance.followed_by_rest(acts, ring), keys.frame_mass_kg, w, keys.frame_damping_ratio
    )


def _feet(keys: Disturbance) -> str:
    if keys.frame_hz is None:
        return "it stands loose (disturbance.frame_hz not given)"
    return f"on its feet it swings with {keys.frame_hz:g} Hz, damping ratio {keys.frame_damping_ratio:g}"


def _damping(loaded: LoadedScenario) -> tuple[float, float]:
    likely = loaded.scenario.damping.ratio
    found = next((r for r in loaded.ranges if r.key == "damping.ratio"), None)
    return (likely if found is None else found.low), likely


def _row(
    job: Job, keys: Disturbance, layer: int, signal: Signal, push_end: float, point: Array, low: float
) -> ShakeRow:
    machine = job.machine
    system = machine.system(np.array([layer]))
    observer = base.make_observer(machine, system, point)
    found, soft = disturbance.modes(machine, system), disturbance.modes(machine, system, ratio=low)
    direction = keys.direction_deg * DEG
    push = disturbance.shaken_modes(machine, system, found, direction)
    answer = shaken.respond(found, push, signal)
    heights = np.abs(answer.eta @ (observer.height @ found.shape).T).max(axis=0)
    rows = np.vstack([observer.lateral[0, 0], observer.height[int(np.argmax(heights))]])
    shown = answer.eta @ (rows @ found.shape).T
    target = keys.residual_um * UM
    change = disturbance.layer_change(job.program.layer_change(max(layer, 2)))
    lift = disturbance.lifted_modes(system, found)
    left = shaken.respond(found, lift, change).amplitude
    risen = np.abs((observer.height @ found.shape) * left).sum(axis=1)
    lifted = np.vstack([observer.lateral[0, 0], observer.height[int(np.argmax(risen))]])
    after = np.arange(0.0, RING, shaken.SAMPLE)
    contact = np.abs(answer.eta @ (machine.contact_rows @ found.shape).T).max(axis=0) / machine.breakaway
    peak = max(np.abs(signal.start[signal.time[:-1] < push_end]).max(), 0.0)
    return ShakeRow(
        layer=layer,
        frequency=_strongest(found, push, rows),
        time=answer.time,
        lateral=shown[:, :2],
        height=shown[:, 2],
        after_change=shaken.ringing(found, left, lifted, after),
        after_time=after,
        steady=float(np.linalg.norm(rows[:2] @ disturbance.steady(system, machine, direction))) * float(peak),
        dwell_shaken=(
            _until(found, push, signal, rows, target, push_end),
            _until(soft, push, signal, rows, target, push_end),
        ),
        dwell_change=(
            shaken.dwell(found, left, lifted, target),
            shaken.dwell(soft, shaken.respond(soft, lift, change).amplitude, lifted, target),
        ),
        slip=float(contact.max()) if contact.size else 0.0,
    )


def _until(found: Modes, push: Array, signal: Signal, rows: Array, target: float, push_end: float) -> float:
    """Time s after the push from which the point stays within the target, the frame's swinging included."""
    answer = shaken.respond(found, push, signal)
    left = np.linalg.norm(answer.eta @ (rows @ found.shape).T, axis=1)
    over = np.flatnonzero((left > target) & (answer.time > push_end))
    later = shaken.dwell(found, answer.amplitude, rows, target)
    end = float(answer.time[-1])
    if later > 0:
        return end - push_end + later
    return float(answer.time[over[-1]]) - push_end if over.size else 0.0


def _strongest(found: Modes, push: Array, rows: Array) -> Array:
    """Frequencies (3,) Hz of the modes that a sudden push moves most at the point."""
    size = np.linalg.norm(rows @ found.shape, axis=0) * np.abs(push) / found.frequency**2
    return found.frequency[np.argsort(size)[::-1][:3]] / (2 * math.pi)


def _assumptions(likely: float, low: float, own: Sequence[str], rows: list[ShakeRow]) -> tuple[str, ...]:
    slip = max(row.slip for row in rows)
    lines = [
        "Motions are those of the bed against the frame, where the nozzle is held; the gantry's own bending "
        "is left out. Sideways: top of the part over its centre; height: the probe that moves most.",
        f"Natural modes with all contacts stuck, damping ratio {likely:g}"
        + (f", down to {low:g}" if low < likely else "")
        + (f"; own ratios of {', '.join(own)}" if own else "")
        + ". Layer changes: the bed's own inertia, no shaking.",
    ]
    if slip > STUCK:
        lines.append(
            f"A contact moves by {100 * slip:.0f} % of its breakaway travel: it slides a little, which damps "
            "more and lets the bed come to rest a little beside."
        )
    return tuple(lines)
