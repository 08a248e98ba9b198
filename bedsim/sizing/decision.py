"""Ball screw against plain screw for one machine: computed rows, no verdict."""

from __future__ import annotations

from dataclasses import dataclass

from bedsim.sizing import axial_train, buckling, holding, loads, torque, transmission
from bedsim.sizing.numbers import CornerNumbers, Duty, ScrewNumbers
from bedsim.sizing.rows_nut import ball_life_hours, mean_load, wear_hours
from bedsim.sizing.rows_run_out import screw_side_stiffness
from bedsim.units import N_MM, N_PER_UM, UM


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


def screw_decision(
    corner: CornerNumbers,
    duty: Duty,
    ball: ScrewNumbers,
    plain: ScrewNumbers,
    corners: int,
    prices: PriceNumbers | None = None,
) -> list[DecisionRow]:
    """Compute the same quantities for a ball and a plain screw at the most loaded corner."""
    both = (ball, plain)
    return [
        _row(
            "permitted push (half the buckling load)",
            [_column(s, corner) for s in both],
            "N",
            "0.5 P_cr of the span from thrust bearing to nut, on its bearings",
            "exact beam-column (Timoshenko); 0.5: THK A15-30",
            "higher carries more",
        ),
        _life_row(corner, duty, ball, plain),
        _row(
            "axial stiffness, shaft and nut",
            [_axial(s, corner) / N_PER_UM for s in both],
            "N/µm",
            "1/(L/(E A) + 1/k_nut)",
            "THK rigidity",
        ),
        _row(
            "torque to raise",
            [_raise(s, corner, duty) / N_MM for s in both],
            "N mm",
            "F l/(2 pi eta1) + drag",
            "THK torque; Shigley eq. 8-1",
            "likely friction",
        ),
        _row(
            "brake torque to hold, detent not counted on",
            [_brake(s, corner) / N_MM for s in both],
            "N mm",
            "F l eta2/(2 pi) - brake",
            "Shigley section 8-2",
            "at the lowest friction; 0: holds by these numbers, unshaken",
        ),
        _row(
            "friction below which it no longer holds by itself",
            [_locking(s) for s in both],
            "",
            "tan(lambda) cos(flank)",
            "Shigley eq. 8-3",
            f"assumed friction: ball {ball.friction[0]:g} to {ball.friction[2]:g}, "
            f"plain {plain.friction[0]:g} to {plain.friction[2]:g}",
        ),
        _row(
            "run-out that reaches a bolted carriage",
            [_passed(s, corner) / UM for s in both],
            "µm",
            "e k_screw/(k_screw + k_guide)",
            "springs in series",
            "one corner alone",
        ),
        *_price_rows(corner, ball, plain, corners, prices),
    ]


def _row(name: str, values: list[float], unit: str, formula: str, source: str, note: str = "") -> DecisionRow:
    return DecisionRow(
        name=name, ball=values[0], plain=values[1], unit=unit, formula=formula, source=source, note=note
    )


def _column(screw: ScrewNumbers, corner: CornerNumbers) -> float:
    return buckling.CATALOGUE_FACTOR * buckling.critical_load(screw, corner.nut_low, corner.nut_high)[0]


def _life_row(corner: CornerNumbers, duty: Duty, ball: ScrewNumbers, plain: ScrewNumbers) -> DecisionRow:
    worn = wear_hours(plain, mean_load(corner), duty)
    return DecisionRow(
        name="life at the print's duty",
        ball=ball_life_hours(ball, mean_load(corner), duty),
        plain=worn[0] if worn else None,
        unit="h",
        formula="ball: (Ca/(fw Fm))^3 10^6 turns; plain: h = k p s",
        source="ISO 3408-5; Archard 1953",
        note="plain: at the upper wear coefficient" + (f", {worn[1]:.2g} h at the lower" if worn else ""),
    )


def _axial(screw: ScrewNumbers, corner: CornerNumbers) -> float:
    shaft = axial_train.shaft_axial_stiffness(
        youngs_modulus=screw.youngs_modulus,
        root_diameter=screw.root_diameter,
        loaded_length=corner.nut_high,
    )
    return axial_train.series([shaft, screw.nut_axial])


def _raise(screw: ScrewNumbers, corner: CornerNumbers, duty: Duty) -> float:
    thrust, eta = loads.largest_thrust(corner, duty), loads.efficiency_raising(screw, screw.friction[1])
    return torque.torque_raising(thrust, screw.lead, eta) + screw.drag_torque


def _brake(screw: ScrewNumbers, corner: CornerNumbers) -> float:
    needed = loads.torque_to_hold(corner, screw, screw.friction[0])
    return holding.torque_missing(needed, corner.motor.brake_torque)


def _locking(screw: ScrewNumbers) -> float:
    flank = 0.0 if screw.is_ball else screw.flank_angle
    return torque.friction_for_self_locking(loads.lead_angle(screw), flank)


def _passed(screw: ScrewNumbers, corner: CornerNumbers) -> float:
    k = screw_side_stiffness(screw, corner)
    return transmission.transmitted_rigid(screw.run_out, k, corner.guide_lateral)


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
