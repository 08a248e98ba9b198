"""Ball screw against plain screw for one machine: computed rows, no verdict."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from bedsim.number_text import number
from bedsim.sizing import axial_train, buckling, holding, loads, torque, unit
from bedsim.sizing.numbers import CornerNumbers, Duty, ScrewNumbers
from bedsim.sizing.rows_nut import ball_life_hours, mean_load, wear_hours
from bedsim.sizing.rows_run_out import bolted_run_out
from bedsim.sizing.unit import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class DecisionRow:
    """One aspect of both screw types, in the same unit; None where the input for it was not given."""

    name: str
    ball: float | None
    plain: float | None
    unit: str
    formula: str
    source: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceNumbers:
    """The user's prices per corner, in one currency; None where not given."""

    currency: str
    ball_screw: float | None = None
    plain_screw: float | None = None
    brake: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Aspect:
    """A row of the decision: its words, and its number in SI for a screw at a corner, None where an input is
    not given."""

    name: str
    unit: Unit
    tell: Callable[[ScrewNumbers, CornerNumbers, Duty], float | None]
    formula: str
    source: str
    note: Callable[[ScrewNumbers, ScrewNumbers, CornerNumbers, Duty], str] | str = ""


def screw_decision(
    corner: CornerNumbers,
    duty: Duty,
    ball: ScrewNumbers,
    plain: ScrewNumbers,
    corners: int,
    prices: PriceNumbers | None = None,
) -> list[DecisionRow]:
    """Compute the same quantities for a ball and a plain screw at the most loaded corner."""
    rows = [_row(aspect, corner, duty, ball, plain) for aspect in ASPECTS]
    return [*rows, *_price_rows(corner, ball, plain, corners, prices)]


def _row(
    aspect: Aspect, corner: CornerNumbers, duty: Duty, ball: ScrewNumbers, plain: ScrewNumbers
) -> DecisionRow:
    values = [aspect.tell(screw, corner, duty) for screw in (ball, plain)]
    shown = [None if value is None else value / aspect.unit.si for value in values]
    return DecisionRow(
        name=aspect.name,
        ball=shown[0],
        plain=shown[1],
        unit=aspect.unit.name,
        formula=aspect.formula,
        source=aspect.source,
        note=aspect.note if isinstance(aspect.note, str) else aspect.note(ball, plain, corner, duty),
    )


def _column(screw: ScrewNumbers, corner: CornerNumbers, _: Duty) -> float:
    return buckling.CATALOGUE_FACTOR * buckling.critical_load(screw.shaft, corner.nut_low, corner.nut_high)[0]


def _life(screw: ScrewNumbers, corner: CornerNumbers, duty: Duty) -> float | None:
    """Seconds: of a ball screw by its rating, of a plain nut at the upper wear coefficient."""
    if screw.is_ball:
        hours = ball_life_hours(screw, mean_load(corner), duty)
    else:
        worn = wear_hours(screw, mean_load(corner), duty)
        hours = worn[0] if worn else None
    return None if hours is None else hours * unit.HOUR.si


def _life_note(_: ScrewNumbers, plain: ScrewNumbers, corner: CornerNumbers, duty: Duty) -> str:
    worn = wear_hours(plain, mean_load(corner), duty)
    return "plain: at the upper wear coefficient" + (f", {number(worn[1], 2)} h at the lower" if worn else "")


def _axial(screw: ScrewNumbers, corner: CornerNumbers, _: Duty) -> float:
    shaft = axial_train.shaft_axial_stiffness(
        youngs_modulus=screw.shaft.youngs_modulus,
        root_diameter=screw.shaft.root_diameter,
        loaded_length=corner.nut_high,
    )
    return axial_train.series([shaft, screw.nut.axial])


def _raise(screw: ScrewNumbers, corner: CornerNumbers, duty: Duty) -> float:
    thrust, eta = loads.largest_thrust(corner, duty), loads.efficiency_raising(screw, screw.friction[1])
    return torque.torque_raising(thrust, screw.shaft.lead, eta) + screw.nut.drag_torque


def _brake(screw: ScrewNumbers, corner: CornerNumbers) -> float:
    needed = loads.torque_to_hold(corner, screw, screw.friction[0])
    return holding.torque_missing(needed, corner.motor.brake_torque)


def _frictions(ball: ScrewNumbers, plain: ScrewNumbers, _: CornerNumbers, __: Duty) -> str:
    return (
        f"assumed friction: ball {ball.friction[0]:g} to {ball.friction[2]:g}, "
        f"plain {plain.friction[0]:g} to {plain.friction[2]:g}"
    )


ASPECTS = (
    Aspect(
        name="permitted push (half the buckling load)",
        unit=unit.NEWTON,
        tell=_column,
        formula="0.5 P_cr of the span from thrust bearing to nut, on its bearings",
        source="exact beam-column (Timoshenko); 0.5: THK A15-30",
        note="higher carries more",
    ),
    Aspect(
        name="life at the print's duty",
        unit=unit.HOUR,
        tell=_life,
        formula="ball: (Ca/(fw Fm))^3 10^6 turns; plain: h = k p s",
        source="ISO 3408-5; Archard 1953",
        note=_life_note,
    ),
    Aspect(
        name="axial stiffness, shaft and nut",
        unit=unit.N_PER_UM,
        tell=_axial,
        formula="1/(L/(E A) + 1/k_nut)",
        source="THK rigidity",
    ),
    Aspect(
        name="torque to raise",
        unit=unit.N_MM,
        tell=_raise,
        formula="F l/(2 pi eta1) + drag",
        source="THK torque; Shigley eq. 8-1",
        note="likely friction",
    ),
    Aspect(
        name="brake torque to hold, detent not counted on",
        unit=unit.N_MM,
        tell=lambda screw, corner, _: _brake(screw, corner),
        formula="F l eta2/(2 pi) - brake",
        source="Shigley section 8-2",
        note="at the lowest friction; 0: holds by these numbers, unshaken",
    ),
    Aspect(
        name="friction below which it no longer holds by itself",
        unit=unit.ONE,
        tell=lambda screw, *_: loads.locking_friction(screw),
        formula="tan(lambda) cos(flank)",
        source="Shigley eq. 8-3",
        note=_frictions,
    ),
    Aspect(
        name="run-out that reaches a bolted carriage",
        unit=unit.UM,
        tell=lambda screw, corner, _: bolted_run_out(screw, corner),
        formula="e k_screw/(k_screw + k_guide)",
        source="springs in series",
        note="one corner alone",
    ),
)
"""What is compared, in the order of the report."""


def _price_rows(
    corner: CornerNumbers, ball: ScrewNumbers, plain: ScrewNumbers, corners: int, prices: PriceNumbers | None
) -> list[DecisionRow]:
    if prices is None or (prices.ball_screw is None and prices.plain_screw is None):
        return []
    totals, notes = [], []
    for label, screw, price in (("ball", ball, prices.ball_screw), ("plain", plain, prices.plain_screw)):
        needs_brake = _brake(screw, corner) > 0
        extra = prices.brake if needs_brake and prices.brake is not None else 0.0
        totals.append(None if price is None else corners * (price + extra))
        if needs_brake:
            notes.append(
                f"{label}: "
                + ("with" if prices.brake is not None else "without the price of")
                + " a brake each"
            )
    return [
        DecisionRow(
            name=f"cost of {corners} screws",
            ball=totals[0],
            plain=totals[1],
            unit=prices.currency,
            formula="number x (screw + brake where one is needed)",
            source="your prices",
            note="; ".join(notes),
        )
    ]
