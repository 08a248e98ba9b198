"""A reader's own tug of war: one bent screw, its nut free and bolted, beside what the machine predicts.

The corner stands alone, off its mount, its screw turned by hand.  Free, the nut shows the centreline r e^{j
theta} at each height; a spline through the heights gives its slope.  Bolted, carriage and nut rest where

    K q = J^T k imposed,   K = sum over the corner's links without its mount of J^T k J,

with the rotor and all else held: the row equation itself.  Left out: friction, and what the weight of
carriage and nut alone adds to K.  Readings are fitted by mean, cosine and sine of the turn; S (predicted) and
D (read) are compared in the phase of the free screw and across it.

    E = S - D,   u_val^2 = u_D^2 + u_input^2 + u_num^2

u_D: the readings' own; u_input: every uncertain key of the corner, after push-pull where it was read, and
the free readings, through the spline (S is linear in them).  u_num: the solves are exact to rounding; what
is not is the slope between heights.  Heights are doubled, every second one left out, and Richardson's
estimate |S - S_coarse|/(2^3 - 1) is taken, since the slope of a cubic spline errs with the third power of
its spacing (de Boor, A Practical Guide to Splines, from memory).  Readings' scatter widens it; a bend that
turns back within four heights it does not see.  Source: the
form of [ASME-VV20], from memory; sums of squares [GUM] 5.1.2.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import scipy

from bedsim.components.frame import ROTOR
from bedsim.errors import InputError
from bedsim.learn.fit import beside, fit
from bedsim.learn.model import Model
from bedsim.learn.observations import KeyReading, Observation
from bedsim.learn.unknowns import Unknowns, unknowns_of
from bedsim.metrology import recipes
from bedsim.metrology.csv_input import ALONG, ANGLES, Table, length_notes, note, read_header, read_table
from bedsim.number_text import number
from bedsim.results.layers import Array
from bedsim.scenario.keys import nearest
from bedsim.scenario.load import LoadedScenario
from bedsim.simulation import make_job
from bedsim.table_text import as_number
from bedsim.units import DEG, GRAVITY, LENGTHS, MM, UM

Series = tuple[str, str]
FREE: Series = ("free", "nut")
BOLTED: tuple[Series, ...] = (("bolted", "nut"), ("bolted", "carriage"))
LEAST_HEIGHTS, LEAST_ANGLES = 4, 4
SLOPE_ORDER = 3
"""Power of the spacing with which the slope of a cubic spline errs."""
BY_CHANCE = 0.1
"""Share of comparisons that may be beyond 2 u_val: one in twenty by chance, twice that since heights share
their keys.  Our choice."""
OF_CORNER = ("screw", "nut", "guide", "frame", "carriage", "motor", "coupling")
"""Parts whose keys act here."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TugReadings:
    """Waves once per turn: `wave` complex m (h,) of each series at `height` (h,) m and their standard
    uncertainty `doubt` (h,) m; `towards` rad of the gauge."""

    where: str
    corner: int
    towards: float
    height: Array
    wave: dict[Series, Array]
    doubt: dict[Series, Array]


@dataclass(frozen=True, slots=True, kw_only=True)
class TugRow:
    """One comparison, m: predicted `S`, read `D`, uncertainties of data and of inputs; `part`: in the phase
    of the free screw, or across it."""

    height: float
    gauge: str
    part: str
    S: float
    D: float
    u_data: float
    u_input: float
    u_num: float

    @property
    def E(self) -> float:
        """Prediction minus reading."""
        return self.S - self.D

    @property
    def u_val(self) -> float:
        """What readings, inputs and numbers leave open."""
        return math.hypot(self.u_data, self.u_input, self.u_num)

    @property
    def agrees(self) -> bool:
        """Whether E is within twice u_val."""
        return abs(self.E) <= 2 * self.u_val


def split_off(paths: Sequence[Path]) -> tuple[list[Path], list[Path]]:
    """Files of a tug of war, and all others.  Raises InputError for a file that is no test."""
    heads = [read_header(path) for path in paths]
    kinds = [recipes.which_test(head.header, head.notes) for head in heads]
    tugs = [path for path, kind in zip(paths, kinds, strict=True) if kind == "tug"]
    return tugs, [path for path in paths if path not in tugs]


def read_tug(path: Path, loaded: LoadedScenario) -> TugReadings:
    """Read and fit a file.  Raises InputError that names file, line or note, and what is allowed."""
    notes = read_header(path).notes
    names = [c.name for c in loaded.scenario.corner]
    corner = notes.get("corner", "")
    if corner not in names:
        near = nearest(corner, names)
        hint = f" Did you mean {near}?" if near else ""
        raise InputError(f"{path}: # corner = {corner!r}: must be one of {', '.join(names)}.{hint}")
    table = read_table(
        path,
        {"height": ALONG, "angle": ANGLES, "reading": LENGTHS},
        {"nut": ("free", "bolted"), "gauge": ("nut", "carriage")},
    )
    missing = [n for n in ("height_mm", "angle_deg", "reading_um") if n[: n.rindex("_")] not in table.numbers]
    missing += [n for n in ("nut", "gauge") if n not in table.words]
    if missing:
        raise InputError(f"{path}: column {missing[0]} is missing: `bedsim learn --blank tug FILE` has it.")
    least = note(table, length_notes("resolution"), 10 * UM) / math.sqrt(12)
    towards = as_number(notes.get("gauge_deg", "0"))
    if not abs(towards) <= 360:
        raise InputError(f"{path}: gauge_deg = {notes['gauge_deg']}: must be a number from -360 to 360.")
    height = np.unique(table.numbers["height"])
    if height.size < LEAST_HEIGHTS:
        raise InputError(f"{path}: height_mm: {height.size} heights; {LEAST_HEIGHTS} or more are needed.")
    length = loaded.scenario.corner[names.index(corner)].screw.length_mm * MM
    if height[0] <= 0 or height[-1] >= length:
        raise InputError(f"{path}: height_mm: must be between 0 and the screw's length_mm = {length / MM:g}.")
    fitted = {series: _waves(path, table, series, height, least) for series in (FREE, *BOLTED)}
    return TugReadings(
        where=str(path),
        corner=names.index(corner),
        towards=towards * DEG,
        height=height,
        wave={series: found[0] for series, found in fitted.items()},
        doubt={series: found[1] for series, found in fitted.items()},
    )


def _waves(path: Path, table: Table, series: Series, height: Array, least: float) -> tuple[Array, Array]:
    """Wave A - jB of A cos + B sin, and its uncertainty, at every height: the readings' scatter about it,
    never better than the gauge's division."""
    nut, gauge = (np.array(table.words[name]) for name in ("nut", "gauge"))
    waves, doubts = [], []
    for at in height:
        used = (nut == series[0]) & (gauge == series[1]) & (table.numbers["height"] == at)
        angle, reading = table.numbers["angle"][used], table.numbers["reading"][used]
        if np.unique(np.round(angle % (2 * np.pi), 6)).size < LEAST_ANGLES:
            raise InputError(
                f"{path}: nut = {series[0]}, gauge = {series[1]}, height_mm = {at / MM:g}: a turn needs "
                f"{LEAST_ANGLES} or more different angles; eight are best."
            )
        design = np.stack([np.ones(angle.size), np.cos(angle), np.sin(angle)], axis=-1)
        found = np.linalg.lstsq(design, reading, rcond=None)[0]
        rest = reading - design @ found
        sigma = max(least, math.sqrt(float(rest @ rest) / max(angle.size - 3, 1)))
        waves.append(found[1] - 1j * found[2])
        doubts.append(sigma * math.sqrt(np.linalg.inv(design.T @ design)[1, 1]))
    return np.array(waves), np.array(doubts)


def answer_of_corner(loaded: LoadedScenario, read: TugReadings) -> Array:
    """What the gauge on nut and carriage reads (2, h, 4) for unit offset x, slope x, offset y, slope y that
    the screw imposes on the nut."""
    machine = make_job(loaded, side_torque=False).machine
    part, first = loaded.scenario.corner[read.corner], machine.coordinates.carriage(read.corner)
    moving = [k for k, kept in enumerate(machine.kept) if first <= kept < first + ROTOR]
    if not moving:
        raise InputError(f"mount.kind = {part.mount.kind}: the corner cannot be taken off its mount.")
    load = np.full(read.height.size, (part.carriage.mass_kg + part.nut.mass_kg) * GRAVITY)
    way = machine.transform[:, moving]
    K = np.zeros((read.height.size, len(moving), len(moving)))
    force = np.zeros((read.height.size, len(moving), 4))
    for link in machine.links:
        if link.corner == read.corner and link.part != "mount":
            J, k = link.jacobian @ way, link.stiffness_at(read.height, load)
            K += J.T @ k @ J
            if link.part == "screw":
                force += J.T @ k
    motion = way @ np.linalg.solve(K, force)
    seen = [
        _seen_at(motion[:, first : first + 6], at * MM, read.towards)
        for at in (part.nut.thread_height_mm, part.guide.height_mm)
    ]
    return np.stack(seen)


def _seen_at(carriage: Array, z: float, towards: float) -> Array:
    """Motion (h, 4) along the gauge of a point on the screw's axis at the height z: t + w x p."""
    x, y = carriage[:, 0] + z * carriage[:, 4], carriage[:, 1] - z * carriage[:, 3]
    return np.asarray(np.cos(towards) * x + np.sin(towards) * y)


def predicted(loaded: LoadedScenario, read: TugReadings) -> Array:
    """Waves (2, h) complex m of the bolted series, by the free one."""
    return by_free(answer_of_corner(loaded, read), read) @ read.wave[FREE]


def by_free(answer: Array, read: TugReadings, every: int = 1) -> Array:
    """What a unit wave of the free series at each height makes of the bolted ones: (2, h, h), from
    `answer_of_corner`; slopes from `every` so-manieth height and the highest."""
    ahead = np.exp(1j * read.towards) * np.eye(read.height.size)
    used = np.unique([*range(0, read.height.size, every), read.height.size - 1])
    slope = scipy.interpolate.CubicSpline(read.height[used], ahead[used])(read.height, 1)
    imposed = np.stack([ahead, slope, -1j * ahead, -1j * slope], axis=-1)
    return np.asarray(np.einsum("ghi,hki->ghk", answer, imposed))


def compare(
    read: TugReadings, loaded: LoadedScenario, observations: Sequence[Observation]
) -> tuple[TugRow, ...]:
    """Every bolted reading beside its prediction; `observations` that give numbers of the machine count."""
    bolted = loaded.with_values({"joint.kind": "rigid"})
    unknowns = unknowns_of(bolted, None)
    known = tuple(o for o in observations if isinstance(o, KeyReading))
    u, P = np.zeros(unknowns.count), np.eye(unknowns.count)
    if known:
        found = fit(Model(unknowns=unknowns, observations=known))
        u, P = found.u, found.P

    def at(place: Array) -> Array:
        return predicted(unknowns.settable.at(unknowns.values(place)), read)

    answer = answer_of_corner(unknowns.settable.at(unknowns.values(u)), read)
    weights = by_free(answer, read)
    S, coarse = (w @ read.wave[FREE] for w in (weights, by_free(answer, read, every=2)))
    numbers = (S - coarse) / (2**SLOPE_ORDER - 1)
    keys = _keys(unknowns, loaded.scenario.corner[read.corner].name)
    slope = np.zeros((*S.shape, len(keys)), complex)
    for n, k in enumerate(keys):
        to, by = beside(u, k)
        slope[..., n] = (at(to) - S) / by
    phase = read.wave[FREE] / np.abs(read.wave[FREE])
    spread = P[np.ix_(keys, keys)]
    rows = []
    for g, series in enumerate(BOLTED):
        free = np.sqrt(np.abs(weights[g]) ** 2 @ read.doubt[FREE] ** 2)
        for h, height in enumerate(read.height):
            turned = (S[g, h] / phase[h], read.wave[series][h] / phase[h])
            slopes = slope[g, h] / phase[h]
            for part, of in (("with the bend", np.real), ("across it", np.imag)):
                own = float(of(slopes) @ spread @ of(slopes))
                rows.append(
                    TugRow(
                        height=float(height),
                        gauge=series[1],
                        part=part,
                        S=float(of(turned[0])),
                        D=float(of(turned[1])),
                        u_data=float(read.doubt[series][h]),
                        u_input=math.hypot(math.sqrt(own), float(free[h])),
                        u_num=abs(float(of(numbers[g, h] / phase[h]))),
                    )
                )
    return tuple(rows)


def _keys(unknowns: Unknowns, corner: str) -> list[int]:
    """Uncertain keys that act at a corner alone."""
    found = []
    for k, key in enumerate(unknowns.keys):
        steps = key.key.split(".")
        mine = steps[0] != "corner" or steps[1] == corner
        if mine and (steps[2] if steps[0] == "corner" else steps[0]) in OF_CORNER:
            found.append(k)
    return found


def tug_lines(read: TugReadings, rows: Sequence[TugRow]) -> Iterator[str]:
    """The comparison for a terminal, um: a table and what it says."""
    yield f"{read.where}: the tug of war of one screw, prediction S beside reading D, um"
    yield "  height  gauge     part                 S        D    E=S-D      u_D  u_input    u_num    u_val"
    for r in rows:
        cells = (r.S, r.D, r.E, r.u_data, r.u_input, r.u_num, r.u_val)
        told = " ".join(f"{x / UM:8.2f}" for x in cells)
        mark = "" if r.agrees else "  beyond 2 u_val"
        yield f"  {r.height / MM:6.0f}  {r.gauge:8}  {r.part:13} {told}{mark}"
    beyond = sum(not r.agrees for r in rows)
    worst = max(rows, key=lambda r: abs(r.E) / r.u_val)
    low, high = (number((worst.E + k * worst.u_val) / UM) for k in (-2, 2))
    yield ""
    place = f"{worst.height / MM:g} mm on the {worst.gauge}, {worst.part}"
    where = f"where it is largest beside u_val, {place}, its error lies between {low} and {high} um"
    if beyond > math.ceil(BY_CHANCE * len(rows)):
        yield (
            f"{beyond} of {len(rows)} comparisons are beyond 2 u_val: the model as described does not do "
            f"what this machine does; {where}. Look at the description (push-pull, heights, which end is "
            "held) before the model."
        )
    else:
        within = len(rows) - beyond
        yield (
            f"{within} of {len(rows)} comparisons are within 2 u_val: model and machine agree within what is "
            f"known of both; {where}. No more is shown by it."
        )
