"""Rows about the mounts: do they stay seated, and is the groove long enough?"""

from __future__ import annotations

from bedsim.sizing import joint_checks, statics
from bedsim.sizing.mount_checks import overturning_moment, seat_force
from bedsim.sizing.numbers import CornerNumbers, MachineNumbers
from bedsim.sizing.rows_run_out import passed_run_out
from bedsim.sizing.table import Check, below, shown
from bedsim.units import GRAVITY, MM, MM_S2, UM

MOUNT = "Mounts"


def mount_rows(machine: MachineNumbers) -> list[Check]:
    """Rows of every mount that can lift: acceleration at which it would, and travel along its groove."""
    duty = machine.duty
    moment = overturning_moment(duty.moving_mass, duty.sideways_acceleration, duty.centre_above_mounts)
    places = [(c.mount_x, c.mount_y) for c in machine.corners]
    relieved = [float(less) for less in statics.overturning_loads(places, moment)]
    rows = []
    for corner, less in zip(machine.corners, relieved, strict=True):
        if corner.mount_kind != "groove":
            continue
        weight = min(corner.bed_load)
        left = seat_force(
            weight_share=weight,
            downward_acceleration=duty.acceleration,
            relieved=less,
            magnet_pull=corner.mount_pull,
        )
        limit = GRAVITY * (1.0 + (corner.mount_pull - less) / weight) if weight > 0 else 0.0
        swings = corner.shaken_off is not None and corner.shaken_off > weight + corner.mount_pull - less
        limit = 0.0 if swings else limit  # a stiff plate does not know of swinging
        rows.append(_resting(corner))
        rows.append(
            below(
                MOUNT,
                "deceleration against lift-off of the mount",
                duty.acceleration / MM_S2,
                limit / MM_S2,
                "mm/s²",
                formula="g (1 + (pull - relieved)/N_i)",
                source="statics of a stiff plate",
                corner=corner.name,
                note=f"{weight:.3g} N at rest, {left:.3g} N left then; {less:.2g} N taken off by a sideways "
                f"acceleration of {duty.sideways_acceleration / MM_S2:.4g} mm/s²"
                + ("; the layer change as set lifts it by swinging, see below" if swings else ""),
                missing="weight on this mount: it does not stay in its seat" if limit <= 0 else "",
            )
        )
        rows += _shaken(corner, weight, machine.shaken_by)
        rows += _mount_travel(corner, machine)
    return rows


def _resting(corner: CornerNumbers) -> Check:
    return shown(
        MOUNT,
        "load on the mount at rest",
        min(corner.bed_load) + corner.mount_pull,
        "N",
        formula="N_i + pull",
        source="statics of a stiff plate",
        corner=corner.name,
        note="at its lightest",
        low_is_worse=True,
        key="mount_load",
    )


def _shaken(corner: CornerNumbers, weight: float, cause: str) -> list[Check]:
    if corner.shaken_off is None:
        return []
    pressed = weight + corner.mount_pull
    return [
        below(
            MOUNT,
            "load that a layer change takes off the mount",
            corner.shaken_off,
            pressed,
            "N",
            formula="M q'' + C q' + K q over the move as set",
            source="natural modes, motors with their place errors, contacts stuck",
            corner=corner.name,
            note=f"{cause + '; ' if cause else ''}other speeds: --speeds",
            missing="another speed of the layer change" if corner.shaken_off > pressed else "",
        )
    ]


def mount_travel_parts(corner: CornerNumbers, machine: MachineNumbers) -> dict[str, float]:
    """Return what uses up the travel [m] of one groove, part by part."""
    passed = [passed_run_out(c) for c in machine.corners]
    index = [c.name for c in machine.corners].index(corner.name)
    return {
        "heat growth": corner.mount_growth,
        "run-out that passes": passed[index],
        "clocking (the others push the bed)": joint_checks.pushed_by_others(passed, index, 1.0),
    }


def _mount_travel(corner: CornerNumbers, machine: MachineNumbers) -> list[Check]:
    if corner.mount_travel is None:
        return []
    parts = mount_travel_parts(corner, machine)
    needed = joint_checks.travel_needed(parts)
    lacking = needed - corner.mount_travel
    return [
        below(
            MOUNT,
            "travel needed along the groove",
            needed / UM,
            corner.mount_travel / UM,
            "µm",
            formula="alpha dT R + run-out + clocking",
            source="geometry; upper bound",
            corner=corner.name,
            note=", ".join(f"{name} {v / UM:.3g}" for name, v in parts.items()) + " µm",
            missing=f"{lacking / MM:.2g} mm of groove" if lacking > 0 else "",
        )
    ]
