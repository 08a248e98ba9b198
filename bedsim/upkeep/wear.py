"""Wear of nuts, balls and guides over months of this use, and what a worn nut does to the print.

Depths come from the one function that `bedsim size` has its wear row from (`rows_nut.wear_travel`): a nut
wears by travel, so by layers and hops, whatever the hours.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from bedsim import registry
from bedsim.analysis.figures import metric_values
from bedsim.analysis.sizing_gather import gather
from bedsim.model.joint_kind import joint_kind
from bedsim.results.layers import LayerResult
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.sections import OF_OBJECTS, without
from bedsim.simulation import simulate
from bedsim.sizing import hertz, wear
from bedsim.sizing.numbers import BallNumbers, CornerNumbers, MachineNumbers
from bedsim.sizing.rows_joint import ball_force
from bedsim.sizing.rows_nut import ball_life_hours, mean_load, wear_travel
from bedsim.sizing.rows_run_out import joint_load, passed_run_out
from bedsim.sizing.rows_screw import axial_play
from bedsim.units import MM, UM
from bedsim.upkeep.use import Use

MONTHS = (1.0, 3.0, 6.0, 12.0, 24.0, 60.0)
LAYERS = 8
"""Of the run that shows a reversal, at most."""
SAME, LEAST = 0.05, 1e-8
"""Share, and m, by which answers with play and without may differ and be called the same."""
#: Pressure at which a ball leaves a dent of a ten thousandth of its diameter in hard steel, Pa: the static
#: rating of ball bearings [ISO76], from memory.
HARD_DISC = 4200e6
#: A guide's nominal life at its rating, m: makers' convention for ball guides ([ISO14728], from memory).
RATED_WAY = 50e3


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayRow:
    """After `months`: travel m of a nut; play it has gained along the screw m, low and high, at the most
    loaded corner; by how much more than the least loaded it has sunk, m, at the high rate."""

    months: float
    travel: float
    play: tuple[float, float]
    uneven: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlainWear:
    """Play over months, and the months (at high, at low wear) until it counts as worn out."""

    corner: str
    rows: tuple[PlayRow, ...]
    change: tuple[float, float]
    limit: float
    status: str


def plain_wear(machine: MachineNumbers, use: Use) -> PlainWear | None:
    """Wear of plain nuts, the most loaded corner's; None where there are none or their length is not given.

    The nut's weight keeps one flank seated: what is worn off it the corner sinks by.
    """
    duty = machine.duty
    plain = [c for c in machine.corners if not c.screw.is_ball]
    found = [(c, wear_travel(c.screw, mean_load(c), duty)) for c in plain]
    ways = [(c, way) for c, way in found if way is not None]
    if not ways:
        return None
    worst, travel = min(ways, key=lambda item: item[1][0])
    longest = max(way[0] for _, way in ways)
    rows = [_play_row(months, use, duty.wear_clearance, travel, longest) for months in MONTHS]
    return PlainWear(
        corner=worst.name,
        rows=tuple(rows),
        change=(use.months_of_travel(travel[0]), use.months_of_travel(travel[1])),
        limit=duty.wear_clearance,
        status=duty.wear.status,
    )


def _play_row(months: float, use: Use, limit: float, travel: tuple[float, float], longest: float) -> PlayRow:
    gone = months * use.travel_a_month
    low, high = (limit * gone / way for way in (travel[1], travel[0]))
    return PlayRow(months=months, travel=gone, play=(low, high), uneven=high - limit * gone / longest)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reversal:
    """What a nut's play does, from runs with hops and without: m, N.

    `height`, `sideways`: by how much the bed stands elsewhere, at most, where the screw turned back before
    printing; `lateral_pv` and `height_pv` of the errors with hops; `least` load on a screw; `jump`: how far a
    corner would go if its screw were unloaded.
    """

    clearance: float
    height: float
    sideways: float
    lateral_pv: float
    height_pv: float
    least: float
    jump: float

    def same_as(self, other: Reversal) -> bool:
        """Whether play changes nothing of note: within a twentieth, or 10 nm."""
        pairs = [(self.height, other.height), (self.sideways, other.sideways)]
        pairs += [(self.lateral_pv, other.lateral_pv), (self.height_pv, other.height_pv)]
        return all(math.isclose(a, b, rel_tol=SAME, abs_tol=LEAST) for a, b in pairs)


def reversal(loaded: LoadedScenario, hop: float, added: float) -> Reversal:
    """Run some layers with hops of `hop` m before each and without, radial clearances larger by `added` m."""
    changes: dict[str, Any] = {
        "print.section": without(loaded.scenario.print, "z_hop_mm", "hop_every", "new_object", *OF_OBJECTS),
        "print.layers": min(loaded.scenario.print.layers, LAYERS),
        **{
            f"corner.{c.name}.nut.clearance_um": c.nut.clearance_um + added / UM
            for c in loaded.scenario.corner
            if not registry.screw_kind(c.screw.kind).rolls
        },
    }
    loose = loaded.with_values(changes)
    turned, straight = (
        simulate(loose.with_values({"motion.z_hop_mm": way})).layers for way in (hop / MM, 0.0)
    )
    leads = [c.screw.lead_mm * MM for c in loaded.scenario.corner]
    values = metric_values(turned, leads)
    return Reversal(
        clearance=max(c.nut.clearance_um for c in loaded.scenario.corner) * UM + added,
        height=_apart(turned, straight, "height_raw"),
        sideways=_apart(turned, straight, "lateral_raw"),
        lateral_pv=values["lateral_pv"],
        height_pv=values["height_pv"],
        least=values["axial_force"],
        jump=max(axial_play(c.screw) for c in gather(loose).corners),
    )


def _apart(one: LayerResult, other: LayerResult, field: str) -> float:
    """Largest distance m of any probe between two runs, from the second layer on."""
    apart = getattr(one, field)[1:] - getattr(other, field)[1:]
    if apart.size == 0:
        return 0.0
    return float((np.linalg.norm(apart, axis=-1) if apart.ndim == 3 else np.abs(apart)).max())


def worn_clearance(machine: MachineNumbers, play: float) -> float:
    """Radial clearance m that plain nuts gain with play m along the screw, of the flattest flank."""
    flanks = [c.screw.nut.flank_angle for c in machine.corners if not c.screw.is_ball]
    return max((wear.radial_from_axial(play, flank) for flank in flanks), default=0.0)


def ball_months(machine: MachineNumbers, use: Use) -> tuple[str, float] | None:
    """The corner and the months of nominal life of the ball screw that lasts least; None without a rating.

    Turns come from the use, so the hours of `bedsim size` and these months are one life.
    """
    duty = machine.duty
    found = [
        (c.name, use.months_of_hours(hours))
        for c in machine.corners
        if c.screw.is_ball and (hours := ball_life_hours(c.screw, mean_load(c), duty)) is not None
    ]
    return min(found, key=lambda item: item[1], default=None)


def guide_months(rating: float, load: float, use: Use) -> float:
    """Months of nominal life of a profile rail's carriage: (C/P)^3 50 km; loads N.

    Limits: one force through the middle of the carriage; tilting moments, dirt and short strokes take from
    it.
    """
    return use.months_of_travel((rating / load) ** 3 * RATED_WAY)


def side_push(corner: CornerNumbers) -> float:
    """Side force N of a bent screw on its guide, through the joint at hand, as `bedsim size` has it."""
    return passed_run_out(corner) * corner.guide_lateral


@dataclass(frozen=True, slots=True, kw_only=True)
class BallContact:
    """A ball of the joint between its plates: force N, peak pressure Pa, flattening m, and the forces at
    which a dent begins in the plate as given (None: strength not given) and in a hard disc."""

    corner: str
    name: str
    force: float
    pressure: float
    flattening: float
    plate_yields: float | None
    hard_dents: float


def ball_contacts(machine: MachineNumbers) -> list[BallContact]:
    """The balls of the joint that is loaded most, each kind once; none where no balls are listed."""
    jointed = [c for c in machine.corners if not joint_kind(c.joint.kind).bolted and c.joint.balls]
    if not jointed:
        return []
    corner = max(jointed, key=joint_load)
    force = ball_force(corner, machine.duty)
    return [_contact(corner.name, ball, force) for ball in _each_kind(corner.joint.balls)]


def _each_kind(balls: Sequence[BallNumbers]) -> list[BallNumbers]:
    return list({(b.radius, b.modulus, b.yield_pressure): b for b in balls}.values())


def _contact(corner: str, ball: BallNumbers, force: float) -> BallContact:
    held = ball.yield_pressure
    return BallContact(
        corner=corner,
        name=ball.name,
        force=force,
        pressure=hertz.peak_pressure(force, ball.radius, ball.modulus),
        flattening=hertz.contact_radius(force, ball.radius, ball.modulus) ** 2 / ball.radius,
        plate_yields=None if held is None else hertz.load_at_pressure(held, ball.radius, ball.modulus),
        hard_dents=hertz.load_at_pressure(HARD_DISC, ball.radius, ball.modulus),
    )
