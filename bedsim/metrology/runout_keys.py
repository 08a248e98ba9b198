"""A fitted centreline as scenario keys, and what must be said beside them."""

from __future__ import annotations

import math

from bedsim.metrology.centreline_fit import CentrelineFit, term_text
from bedsim.metrology.runout_fit import PositionFit
from bedsim.metrology.setup import SETUP_TEXT, Setup
from bedsim.metrology.snippet import MeasuredKey, StatedKey, toml_text
from bedsim.units import MM, UM

SIZE_KEYS = {"eccentricity": "eccentricity_tir_um", "tilt": "tilt_tir_um_per_100mm", "bow": "bow_tir_um"}


def runout_keys(fit: CentrelineFit, setup: Setup) -> tuple[MeasuredKey | StatedKey, ...]:
    """Sizes (TIR) and directions of the fitted terms as keys of [screw.run_out], and how the bow was read."""
    keys: list[MeasuredKey | StatedKey] = []
    for term in fit.terms:
        size, u, direction, across = term_text(fit, term)
        keys.append(MeasuredKey(table="screw.run_out", key=SIZE_KEYS[term], likely=size, uncertainty=u))
        keys.append(
            MeasuredKey(
                table="screw.run_out",
                key=f"{term}_deg",
                likely=direction,
                uncertainty=min(across, 90.0),
                least=None,
                note="direction hardly known" if across > 60 else "",
            )
        )
    if "bow" in fit.terms:
        keys.append(StatedKey(table="screw.run_out", key="bow_measured", value=setup.measured))
    return tuple(keys)


def runout_toml(fit: CentrelineFit, setup: Setup, table_name: str, *, own_corner: bool) -> str:
    """TOML for a scenario: the fitted keys, or the measured table where the fit does not describe the
    screw."""
    remarks = [f"Measured: {SETUP_TEXT[setup.how]}.", *held_differently(fit, setup)]
    keys = runout_keys(fit, setup)
    if uses_table(fit, setup):
        head = "[corner.screw.run_out]" if own_corner else "[screw.run_out]"
        lines = [f"# {r}" for r in (*remarks, *fit.warnings)]
        lines += [head, f'table = "{table_name}"  # beside the scenario or below its folder']
        lines += [f'table_measured = "{setup.measured}"', ""]
        lines += ["# The fit, for comparison only; it must not stand beside the table:"]
        lines += [f"# {line}" for line in toml_text(keys, own_corner=own_corner).splitlines()]
        return "\n".join(lines) + "\n"
    if fit.chord is None:
        remarks.append(
            f'In place of these keys the measured offsets: table = "{table_name}" with '
            f'table_measured = "{setup.measured}"; never both.'
        )
    return toml_text(keys, remarks, own_corner=own_corner)


def runout_change(
    fit: CentrelineFit, setup: Setup, table_name: str
) -> tuple[tuple[MeasuredKey | StatedKey, ...], tuple[str, ...]]:
    """What is to stand in [screw.run_out], fitted keys or the measured table, and the keys it replaces."""
    if not uses_table(fit, setup):
        return runout_keys(fit, setup), ("table", "table_measured")
    table = StatedKey(table="screw.run_out", key="table", value=table_name)
    how = StatedKey(table="screw.run_out", key="table_measured", value=setup.measured)
    directions = (f"{term}_deg" for term in SIZE_KEYS)
    return (table, how), (*SIZE_KEYS.values(), *directions, "bow_measured")


def uses_table(fit: CentrelineFit, setup: Setup) -> bool:
    """Whether the measured offsets describe the screw better than the fitted shapes (never on V-blocks).

    A bow read where an end is clamped is no half sine.
    """
    return fit.chord is None and (not fit.fits or (setup.clamped is True and setup.measured == "mounted"))


def held_differently(fit: CentrelineFit, setup: Setup) -> tuple[str, ...]:
    """What the screw will do in the machine that it did not do on the bench."""
    found = []
    if setup.measured == "free":
        found.append(
            "On the bench the screw was held otherwise than in the machine: the keys say that it was free "
            "(measured), and clamped ends then draw it straighter."
        )
        if fit.free_end:
            found.append(
                "The upper end is free in the machine: there the bow swings almost five times the bench "
                "reading; the key bow_tir_um is that at the free end."
            )
    elif not fit.free_end and setup.clamped is not False:
        found.append(_in_place(setup))
    if setup.how != "nut":
        found.append("Read on the crest; the nut follows the flanks, and on rolled threads they differ.")
    return tuple(found)


def _in_place(setup: Setup) -> str:
    if setup.clamped:
        return (
            "Clamped ends hold the screw straighter than it is when free, and its bow in place is no half "
            "sine: the table is what was read; grades are for the free screw."
        )
    return (
        "Is an end clamped (fixed-supported, fixed-fixed)? Then the bow in place is no half sine, and "
        "straighter than that of the free screw, which grades are for: say clamped = yes, or no if both are "
        "only supported."
    )


def position_row(fit: PositionFit) -> tuple[str, ...]:
    """One line of the printed table: position, TIR, offset, direction, two and three lobes, span of
    readings."""
    angle = math.degrees(math.atan2(fit.offset.imag, fit.offset.real))
    across = math.degrees(fit.direction_uncertainty)
    lobes = tuple("-" if math.isnan(v) else f"{v / UM:.1f}" for v in fit.lobes)
    return (
        f"{fit.position / MM:.1f}",
        fit.place,
        f"{fit.run_out / UM:.1f} ± {fit.run_out_uncertainty / UM:.1f}",
        f"{abs(fit.offset) / UM:.1f}",
        f"{angle:.0f} ± {across:.0f}" if across < 90 else "unknown",
        *lobes,
        f"{fit.span / UM:.1f}",
    )
