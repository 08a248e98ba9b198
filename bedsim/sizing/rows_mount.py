"""Rows about the mounts: do they stay seated, and is the groove long enough?"""

from __future__ import annotations

from bedsim.number_text import number
from bedsim.sizing import joint_checks, statics, unit
from bedsim.sizing.mount_checks import overturning_moment, seat_force
from bedsim.sizing.numbers import MachineNumbers
from bedsim.sizing.rows import AtCorner, Row, RowValue, Subject
from bedsim.sizing.rows_run_out import passed_run_out
from bedsim.units import GRAVITY, MM, MM_S2, UM


def relieved(machine: MachineNumbers) -> list[float]:
    """Return what a sideways acceleration takes off every mount at most [N]."""
    duty = machine.duty
    moment = overturning_moment(duty.moving_mass, duty.sideways_acceleration, duty.centre_above_mounts)
    places = [(c.mount_x, c.mount_y) for c in machine.corners]
    return [float(less) for less in statics.overturning_loads(places, moment)]


def mount_travel_parts(at: AtCorner) -> dict[str, float]:
    """Return what uses up the travel [m] of one groove, part by part."""
    passed = [passed_run_out(c) for c in at.machine.corners]
    return {
        "heat growth": at.corner.mount_growth,
        "run-out that passes": passed[at.index],
        "clocking (the others push the bed)": joint_checks.pushed_by_others(passed, at.index, 1.0),
    }


def _groove(at: AtCorner) -> bool:
    return at.corner.grooved


def _shakes(at: AtCorner) -> bool:
    return _groove(at) and at.corner.shaken_off is not None


def _limited(at: AtCorner) -> bool:
    return _groove(at) and at.corner.mount_travel is not None


def _seat(at: AtCorner) -> RowValue:
    """The acceleration at which a mount lifts; none is safe where the move as set lifts it by swinging, of
    which a stiff plate does not know."""
    corner, duty, less = at.corner, at.duty, relieved(at.machine)[at.index]
    weight = min(corner.bed_load)
    left = seat_force(
        weight_share=weight,
        downward_acceleration=duty.acceleration,
        relieved=less,
        magnet_pull=corner.mount_pull,
    )
    swings = corner.shaken_off is not None and corner.shaken_off > weight + corner.mount_pull - less
    seated = weight > 0 and not swings
    limit = GRAVITY * (1.0 + (corner.mount_pull - less) / weight) if seated else 0.0
    return RowValue(
        duty.acceleration,
        limit,
        note=f"{number(weight)} N at rest, {number(left)} N left then; {number(less, 2)} N taken off by "
        f"a sideways "
        f"acceleration of {number(duty.sideways_acceleration / MM_S2, 4)} mm/s²"
        + ("; the layer change as set lifts it by swinging, see below" if swings else ""),
        missing="weight on this mount: it does not stay in its seat" if limit <= 0 else "",
    )


def _shaken(at: AtCorner) -> RowValue:
    corner, cause = at.corner, at.machine.shaken_by
    assert corner.shaken_off is not None
    pressed = min(corner.bed_load) + corner.mount_pull
    return RowValue(
        corner.shaken_off,
        pressed,
        note=f"{cause + '; ' if cause else ''}other speeds: --speeds",
        missing="another speed of the layer change" if corner.shaken_off > pressed else "",
    )


def _travel(at: AtCorner) -> RowValue:
    assert at.corner.mount_travel is not None
    parts = mount_travel_parts(at)
    needed = joint_checks.travel_needed(parts)
    lacking = needed - at.corner.mount_travel
    return RowValue(
        needed,
        at.corner.mount_travel,
        note=", ".join(f"{name} {number(v / UM)}" for name, v in parts.items()) + " µm",
        missing=f"{number(lacking / MM, 2)} mm of groove" if lacking > 0 else "",
    )


MOUNTS = Subject(
    title="Mounts",
    rows=(
        Row(
            key="mount_load",
            name="load on the mount at rest",
            unit=unit.NEWTON,
            tell=lambda at: RowValue(min(at.corner.bed_load) + at.corner.mount_pull),
            where=_groove,
            formula="N_i + pull",
            source="statics of a stiff plate",
            note="at its lightest",
            low_is_worse=True,
        ),
        Row(
            key="mount_lift_off",
            name="deceleration against lift-off of the mount",
            unit=unit.MM_S2,
            tell=_seat,
            where=_groove,
            stays="below",
            formula="g (1 + (pull - relieved)/N_i)",
            source="statics of a stiff plate",
        ),
        Row(
            key="mount_shaken",
            name="load that a layer change takes off the mount",
            unit=unit.NEWTON,
            tell=_shaken,
            where=_shakes,
            stays="below",
            formula="M q'' + C q' + K q over the move as set",
            source="natural modes, motors with their place errors, contacts stuck",
        ),
        Row(
            key="mount_travel",
            name="travel needed along the groove",
            unit=unit.UM,
            tell=_travel,
            where=_limited,
            stays="below",
            formula="alpha dT R + run-out + clocking",
            source="geometry; upper bound",
        ),
    ),
)
