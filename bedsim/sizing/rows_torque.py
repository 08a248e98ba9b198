"""Rows about the torque at the screw: raising, lowering, driven back, efficiencies."""

from __future__ import annotations

from bedsim.number_text import number
from bedsim.sizing import loads, torque, unit
from bedsim.sizing.rows import AtCorner, Row, RowValue, Subject
from bedsim.units import DEG, N_MM


def _raising(at: AtCorner) -> RowValue:
    screw = at.corner.screw
    low, likely, high = screw.friction
    up = {f: loads.torque_up(at.corner, at.duty, f) for f in (low, likely, high)}
    angles = (
        f"lead angle {loads.lead_angle(screw) / DEG:.1f}°, "
        f"friction angle {loads.friction_angle(screw, likely) / DEG:.1f}°"
    )
    note = f"{number(up[low] / N_MM)} to {number(up[high] / N_MM)} for friction {low:g} to {high:g}; {angles}"
    return RowValue(up[likely], note=note)


def _lowering(at: AtCorner) -> RowValue:
    likely, a = at.corner.screw.friction[1], at.duty.acceleration
    starting, stopping = (loads.torque_down(at.corner, sign * a, likely) for sign in (1.0, -1.0))
    note = f"setting off; {number(stopping / N_MM)} while stopping"
    return RowValue(starting, note=f"{note}; negative: the load drives, the motor brakes")


def _driven_back(at: AtCorner) -> RowValue:
    screw, low = at.corner.screw, at.corner.screw.friction[0]
    back = torque.torque_driven_back(
        max(at.corner.hanging), screw.shaft.lead, loads.efficiency_back(screw, low)
    )
    note = f"at the lowest friction {low:g}; 0: self-locking at that friction, without shaking"
    return RowValue(max(0.0, back), note=note)


def _efficiency(at: AtCorner) -> RowValue:
    return RowValue(loads.efficiency_raising(at.corner.screw, at.corner.screw.friction[1]))


def _efficiency_back(at: AtCorner) -> RowValue:
    return RowValue(loads.efficiency_back(at.corner.screw, at.corner.screw.friction[1]))


def _self_locking(at: AtCorner) -> RowValue:
    low, _, high = at.corner.screw.friction
    return RowValue(loads.locking_friction(at.corner.screw), note=f"assumed here: {low:g} to {high:g}")


TORQUE = Subject(
    title="Torque at the screw",
    rows=(
        Row(
            key="raising_torque",
            name="to raise",
            unit=unit.N_MM,
            tell=_raising,
            formula="F l/(2 pi eta1) + drag",
            source="THK torque; Shigley eq. 8-1",
        ),
        Row(
            key="lowering_torque",
            name="to lower",
            unit=unit.N_MM,
            tell=_lowering,
            formula="F d2/2 tan(rho - lambda) + drag, F = weight - m a - guide friction",
            source="Shigley eq. 8-2",
        ),
        Row(
            key="back_torque",
            name="the load drives back with",
            unit=unit.N_MM,
            tell=_driven_back,
            formula="F l eta2/(2 pi)",
            source="THK torque; Shigley section 8-2",
        ),
        Row(
            key="efficiency",
            name="efficiency raising",
            unit=unit.PERCENT,
            tell=_efficiency,
            formula="tan(lambda)/tan(lambda + rho)",
            source="Shigley section 8-2",
        ),
        Row(
            key="efficiency_back",
            name="efficiency driven back",
            unit=unit.PERCENT,
            tell=_efficiency_back,
            formula="tan(lambda - rho)/tan(lambda)",
            source="Shigley section 8-2",
            note="negative: self-locking at the likely friction",
        ),
        Row(
            key="locking_friction",
            name="friction from which it holds by itself",
            unit=unit.ONE,
            tell=_self_locking,
            formula="tan(lambda) cos(flank)",
            source="Shigley eq. 8-3",
        ),
    ),
)
