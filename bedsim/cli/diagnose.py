"""`bedsim diagnose`: from readings back to the screw and the cause."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bedsim.cli.common import progress_of, scenario_argument, screws_option, set_option
from bedsim.cli.json_out import diagnosis_answer, tell
from bedsim.cli.number_option import Number
from bedsim.cli.paths import Command, input_argument
from bedsim.errors import InputError
from bedsim.number_text import number
from bedsim.units import DEG, MM, UM

if TYPE_CHECKING:
    from bedsim.diagnosis.band_kinds import BandKind
    from bedsim.diagnosis.from_bands import Harmonics, Screws
    from bedsim.diagnosis.least_squares import Diagnosis, Estimate, Excess, NextTest, Source
    from bedsim.diagnosis.outside_causes import OutsideCause
    from bedsim.diagnosis.readings import Reading
    from bedsim.results.layers import Array
    from bedsim.scenario.load import LoadedScenario

MOST_SCATTER = 4.0
"""Sigmas; a turn whose readings scatter more about one wave per turn is told.  Our assumption."""
GAUGE_EXAMPLE = """\
probe,axis,eighth,reading_um
centre,x,0,0.0
centre,x,1,2.9
centre,x,2,7.4
centre,x,3,10.2
centre,x,4,9.6
"""
BANDS_EXAMPLE = """\
wall,probe,wavelength_mm,amplitude_um,crest_mm
+X,centre,5,4.0,1.25
+Y,centre,5,1.5,3.10
"""


def _example(text: str) -> str:
    """Lines as they are."""
    return "\b\n" + "".join(f"  {line}\n" for line in text.splitlines())


EXAMPLES = (
    "The gauge stands on the frame and reads more when the bed moves along +X, +Y or up; each probe and axis "
    "needs four eighths or more:\n\n" + _example(GAUGE_EXAMPLE) + "\n"
    "Bands on walls by the way they face (+X, -Y or an angle), with the height of a crest above the first "
    "layer:\n\n" + _example(BANDS_EXAMPLE)
)


@click.command(name="diagnose", cls=Command, epilog=EXAMPLES)
@input_argument("readings")
@scenario_argument
@set_option
@click.option(
    "--sigma-um",
    type=Number(above=0),
    default=1.0,
    show_default=True,
    help="Standard uncertainty of one reading where the file gives none.",
)
@screws_option
@click.option("--heater-s", type=Number(above=0), help="Period of a switching heater.")
@click.option(
    "--extruder-mm3",
    type=Number(above=0),
    help="Volume per turn of the extruder drive.",
)
@click.option("--layer-mm3", type=Number(above=0), help="Volume of one layer of the part.")
def command(
    readings: Path,
    scenario: Path,
    overrides: tuple[str, ...],
    sigma_um: float,
    screws: str,
    heater_s: float | None,
    extruder_mm3: float | None,
    layer_mm3: float | None,
) -> int:
    """Find the screw behind the bands: shares of every screw and cause from READINGS of the machine SCENARIO.

    READINGS is a CSV file.  A gauge on the bed while one lead is jogged down in eighths: columns probe,
    axis (x, y, z), eighth, reading_um.  Or bands on two or more walls: columns wall, probe, wavelength_mm,
    amplitude_um, crest_mm. Both may have sigma_um, and turned with turned_deg where a screw had been turned
    in its coupling.  Or the log of a gauge (bedsim gauge --recipe log).  Bands of half and a third of the
    lead and those of motors are told too, by the length that these layers show.  Friction is counted as the
    scenario has it; ± is one standard uncertainty from that of the readings, for this machine.
    """
    from bedsim.diagnosis.band_kinds import band_kinds, refuse_uneven_walls, sort_readings
    from bedsim.diagnosis.from_bands import diagnose_harmonics, diagnose_screws
    from bedsim.diagnosis.outside_causes import outside_causes
    from bedsim.diagnosis.readings import read_readings
    from bedsim.diagnosis.response import once_per_turn_response
    from bedsim.scenario.load import load_scenario

    loaded = load_scenario(scenario, overrides, stage=progress_of)
    machine = loaded.scenario
    lead = _common_lead(loaded)
    found = read_readings(readings, sigma_um * UM, lead)
    refuse_uneven_walls(loaded, found)
    causes = outside_causes(
        layer_height=machine.print.layer_mm * MM,
        seconds_per_layer=machine.print.seconds_per_layer,
        lead=lead,
        steps_per_turn=machine.corner[0].motor.steps_per_turn,
        gear_ratio=machine.corner[0].motor.gear_ratio,
        microsteps=machine.corner[0].motor.microsteps,
        heater_seconds=heater_s,
        extruder_volume_per_turn=None if extruder_mm3 is None else extruder_mm3 * MM**3,
        volume_per_layer=None if layer_mm3 is None else layer_mm3 * MM**3,
    )
    kinds = band_kinds(loaded)
    by_kind, foreign = sort_readings(found, kinds)
    _refuse_foreign(foreign, kinds, causes)
    answers = once_per_turn_response(loaded)
    of_lead, lines, diagnosed = None, [], []
    for kind, shown in by_kind.items():
        if kind.of_lead:
            of_lead = diagnose_screws(loaded, answers, kind, shown)
            diagnosed.append((kind.name, of_lead.diagnosis))
            ranking = _ranking(of_lead, loaded, readings, screws, sigma_um)
            lines += [*ranking, *_screw_lines(of_lead, loaded, ranked=bool(ranking))]
        else:
            other = diagnose_harmonics(loaded, kind, shown, of_lead)
            diagnosed.append((kind.name, other.diagnosis))
            lines += [*([""] if lines else []), *_harmonic_lines(other, kinds)]
    tell(lambda: diagnosis_answer(diagnosed))
    click.echo("\n".join([*lines, *([] if machine.print.section else ["", *_outside(causes)])]))
    return 0


def _ranking(found: Screws, loaded: LoadedScenario, path: Path, screws: str, sigma_um: float) -> list[str]:
    """Where phases alone do not tell all screws: the likeliest one, from what the scenario says besides."""
    if found.diagnosis.can_tell or found.diagnosis.excess:
        return []
    from bedsim.learn.ranking import ranked
    from bedsim.learn.text import KNOWN, SURE, UNKNOWN, WALLS, hit_rate, screw_lines

    spread = ranked(loaded, path, screws, sigma_um * UM)
    if spread is None:
        return []
    how = WALLS if found.machine.printed else KNOWN if screws == "gauged" else UNKNOWN
    lines = [*screw_lines(loaded, spread), "  " + hit_rate(spread, how)]
    if found.machine.printed and spread.claim()[1] < SURE:
        lines.append(
            "Next: print one thin frame as large as the bed and read its four walls at the bed's edges: they "
            "tell more than a part in the middle (bedsim learn --recipe bands)."
        )
    return [*lines, ""]


def _screw_lines(found: Screws, loaded: LoadedScenario, *, ranked: bool) -> list[str]:
    """Bands at the lead or a gauge: the screws, and what is to be said of friction; `ranked`: the likeliest
    screw was told before."""
    remarks = _friction_lines(found.machine.sources, found.moved)
    if found.without_friction:
        remarks = [f"  Friction is left out, the uncertainties are too small: {found.without_friction}."]
    lines = diagnosis_lines(found.diagnosis, found.readings, remarks, headed=not ranked)
    if found.diagnosis.excess:
        joints = ", ".join(dict.fromkeys(c.joint.kind for c in loaded.scenario.corner))
        told = excess_lines(found.diagnosis.excess, f"{loaded.name} (joint.kind: {joints})")
        return [*told, "", *lines]
    return lines


def _harmonic_lines(found: Harmonics, kinds: Sequence[BandKind]) -> list[str]:
    """Bands that come back more often than once per turn."""
    kind = found.kind
    alike = [k for k in kinds if k != kind and abs(k.seen / kind.seen - 1) < 1e-6]
    lines = [f"Bands of {number(kind.seen / MM)} mm: {kind.name}."]
    if alike:
        lines.append(
            f"These layers show {' and '.join(k.name for k in alike)} with the same length: print at another "
            "layer height to tell them apart."
        )
    return [*lines, *diagnosis_lines(found.diagnosis, found.readings, _own_part(found))]


def _own_part(found: Harmonics) -> list[str]:
    """What the screws make of such bands by being bent, through friction."""
    if not found.kind.on_screw:
        return []
    if found.of_screws is None:
        return [
            "  Bent screws make such bands too, through friction, beside those of the lead: with those of "
            "the lead in the same file they are taken off."
        ]
    return [
        "  Taken off before: what the screws above make of these bands through friction, up to "
        f"{_off(float(found.of_screws.max()))}."
    ]


def _friction_lines(sources: Sequence[Source], moved: Array) -> list[str]:
    """How far the friction's own ranges move the answer, if there are any."""
    if not moved.size or moved.max() == 0:
        return []
    cause, corner = sources[int(moved.argmax())]
    return [
        "  Uncertainties are those of the readings, for this machine and its likeliest friction. Friction at "
        f"the ends of its ranges moves {cause} at {corner} most: by {_off(float(moved.max()))}."
    ]


def _common_lead(loaded: LoadedScenario) -> float:
    leads = {c.name: c.screw.lead_mm for c in loaded.scenario.corner}
    if len(set(leads.values())) > 1:
        told = ", ".join(f"{name} {lead:g} mm" for name, lead in leads.items())
        raise InputError(
            f"{loaded.name}: screw.lead_mm differs ({told}): their bands have different lengths on "
            "the wall and are told "
            "apart by that; a diagnosis by phase needs one lead."
        )
    return next(iter(leads.values())) * MM


def _refuse_foreign(
    bands: Sequence[Reading], kinds: Sequence[BandKind], causes: Sequence[OutsideCause]
) -> None:
    """Bands of another length come from no screw or motor: what could make them is told instead."""
    from bedsim.diagnosis.outside_causes import near

    if not bands:
        return
    seen = [k for k in kinds if k.seen < float("inf")]
    told = ", ".join(dict.fromkeys(f"{number(k.seen / MM)} ({k.name})" for k in seen))
    faults = []
    for band in bands:
        length = band.wavelength or 0.0
        alike = [c.name for c in causes if near(c, length)]
        outside = f" Of about that length: {', '.join(alike)}." if alike else ""
        faults.append(
            f"{band.where}: wavelength_mm = {length / MM:g}: screws and motors of this machine and layer "
            f"height make bands of {told}, within 5 %, and no others.{outside}"
        )
    raise InputError("\n".join([*faults, *_outside(causes)]))


def diagnosis_lines(
    result: Diagnosis,
    readings: Sequence[Reading],
    remarks: Sequence[str] = (),
    *,
    headed: bool = True,
) -> list[str]:
    """The diagnosis as lines for a terminal, `remarks` below the table; `headed`: with its finding on top."""
    lines = ["From phases alone:"] if not headed else [] if result.excess else [_headline(result), ""]
    lines += [
        *_table(result.estimates),
        *_cancelling(result.estimates),
        *_untold(result.estimates),
        *remarks,
        "",
    ]
    lines += [_fit_line(result), *_scatter(readings)]
    if not result.excess and (not result.can_tell or result.outside_model):
        lines += ["", *_next(result.next_tests, len(result.estimates))]
    return lines


def _outside(causes: Sequence[OutsideCause]) -> list[str]:
    told = [f"  {c.name} ({c.repeats}): {_length(c)}; {c.how_to_tell}" for c in causes]
    return ["Causes outside the model, by what they repeat with:", *told]


def excess_lines(excess: Excess, machine: str) -> list[str]:
    """That the screws of this machine cannot have made the readings, and what to look at."""
    from bedsim.diagnosis.screw_bounds import BEYOND

    cause, corner = excess.source
    return [
        f"The motion is more than the screws of this machine can cause: {cause} at {corner} would have to be "
        f"{_off(excess.needed)}, and {_off(excess.bound)} is {BEYOND:g} times what its worst screw has or a "
        "bent one usually has (our assumption).",
        f"Is {machine} the machine that was read? Look at the kind of its joints, its stiffnesses and "
        "the units of the readings; what follows holds for that machine only.",
    ]


def _off(length: float) -> str:
    from bedsim.analysis.printed import quantity

    return quantity(length, "m")


def _headline(result: Diagnosis) -> str:
    if not any(e.told for e in result.estimates):
        return "These readings cannot tell any screw from another."
    told = [e for e in result.estimates if e.told]
    first = max(told, key=lambda e: e.share)
    open_part = "" if result.can_tell else " These readings cannot tell all sources apart."
    name = f"{first.source[0]} at {first.source[1]}"
    return f"Largest share found: {name}, {100 * first.share:.0f} %.{open_part}"


def _table(estimates: Sequence[Estimate]) -> list[str]:
    rows = [("cause", "corner", "amplitude", "uncertainty", "direction", "share")]
    for e in estimates:
        if not e.told:
            rows.append((*e.source, "cannot tell", "", "", ""))
            continue
        clear = e.amplitude > 2.0 * e.uncertainty
        rows.append(
            (
                *e.source,
                f"{e.amplitude / UM:.2f} µm",
                f"± {e.uncertainty / UM:.2f} µm",
                f"{round(e.direction / DEG)}°" if clear else "unclear",
                f"{round(100 * e.share)} %",
            )
        )
    widths = [max(len(r[i]) for r in rows) for i in range(len(rows[0]))]
    return ["  " + "  ".join(v.ljust(w) for v, w in zip(r, widths, strict=True)).rstrip() for r in rows]


def _cancelling(estimates: Sequence[Estimate]) -> list[str]:
    """What shares beyond the whole mean, where there are any."""
    percents = [round(100 * e.share) for e in estimates if e.told and e.share == e.share]
    if all(0 <= p <= 100 for p in percents):
        return []
    return [
        "  Causes may cancel each other: one that works against the whole counts negative, others may then "
        "be above 100 %."
    ]


def _untold(estimates: Sequence[Estimate]) -> list[str]:
    """One line for all that look alike, one for each that is hardly seen."""
    alike = [f"{e.source[0]} at {e.source[1]}" for e in estimates if not e.told and e.mixed_with]
    unseen = [e for e in estimates if not e.told and not e.mixed_with]
    lines = [f"  Not separated: {', '.join(alike)}."] if alike else []
    return lines + [f"  {e.source[0]} at {e.source[1]} is hardly seen by these readings." for e in unseen]


def _fit_line(result: Diagnosis) -> str:
    from bedsim.diagnosis.least_squares import CHANCE

    condition = "unlimited" if result.condition == float("inf") else number(result.condition, 3)
    fit = f"Condition number {condition}, {result.rank} of {len(result.estimates)} sources independent. "
    if result.degrees == 0:
        return fit + "No readings are left over to check the model with."
    told = f"Left over: chi square {number(result.chi_square)} with {result.degrees} degrees of freedom"
    if result.outside_model:
        return (
            fit + f"{told}, chance {number(result.chance, 1)}: the readings hold something no screw of the "
            f"model makes."
        )
    if result.excess:
        return fit + f"{told}, but only with screws that no machine has."
    if result.fits_too_well:
        return (
            fit + f"{told}, less than readings of the stated uncertainty leave once in {1 / CHANCE:.0f} "
            "times: this is no check of the model. Give the uncertainty that the readings have (sigma_um, "
            "--sigma-um)."
        )
    return fit + f"{told}: the model explains the readings."


def _scatter(readings: Sequence[Reading]) -> list[str]:
    return [
        f"Readings of probe {r.probe}, axis {r.place} leave one wave per turn by up to "
        f"{r.scatter:.1f} sigma: look for a "
        "cause that repeats more often, or play."
        for r in readings
        if r.scatter > MOST_SCATTER
    ]


def _next(tests: Sequence[NextTest], count: int) -> list[str]:
    if not tests:
        return []
    best = tests[0]
    gain = f"then {best.rank} of {count} causes can be separated"
    if best.worst_uncertainty < float("inf"):
        gain += f", the least sure of them to ± {number(best.worst_uncertainty / UM, 2)} µm"
    return [
        f"Next: turn the screw at {best.corner} by {best.turn / DEG:.0f}° in its coupling, "
        "counter-clockwise seen from above, "
        f"and repeat the same readings in the same file (columns turned, turned_deg): {gain}.",
        "Caution: the bed can drop when a coupling is loosened: support it and cut the power first.",
    ]


def _length(cause: OutsideCause) -> str:
    if cause.wavelength is None:
        return "length not known"
    if cause.wavelength == float("inf"):
        return "the same in every layer, no bands"
    return f"bands of {number(cause.wavelength / MM)} mm"
