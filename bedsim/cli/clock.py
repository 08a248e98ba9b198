"""`bedsim clock`: which screw at which corner, turned how far in its coupling, in plain steps."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click
import numpy as np

from bedsim.cli import completion
from bedsim.cli.common import progress_of, scenario_argument, set_option
from bedsim.cli.gauge_output import say
from bedsim.cli.json_out import json_answer, tell
from bedsim.cli.number_option import Number
from bedsim.cli.paths import PICTURE, Command, InputPath
from bedsim.cli.text import line_width
from bedsim.files import make_folder
from bedsim.units import DEG, MM

if TYPE_CHECKING:
    from bedsim.clocking.advice import Advice, Placement, Setting
    from bedsim.clocking.rest import Part
    from bedsim.scenario.load import LoadedScenario

AIM_WORDS = {
    "expected": "least expected error after levelling",
    "worst": "least worst case after levelling",
    "placed": "least error as placed, never levelled",
}
AIM_MEASURES = {
    "expected": "expected error after levelling",
    "worst": "worst case after levelling",
    "placed": "error as placed",
}
MOST_CORRECTION_MM = 10.0
"""A bed that is off by more is to be set up anew, not levelled.  Our assumption."""
IN_MM = (
    "It is in mm, 0.5 is 500 µm. A bed that is off by more is to be set up anew before its screws are "
    "clocked."
)


@click.command(name="clock", cls=Command)
@scenario_argument
@click.option(
    "--spares",
    multiple=True,
    type=InputPath(),
    metavar="FILE",
    help="Screws on the shelf: TOML with [[screw]] tables (name, run_out, travel), or a table or keys file "
    "of bedsim gauge. May be given more than once.",
)
@click.option(
    "--probe",
    metavar="NAME",
    shell_complete=completion.probes,
    help="Place of the bed that counts; default: all probes alike.",
)
@click.option(
    "--levelling-correction-mm",
    type=Number(least=0, most=MOST_CORRECTION_MM, hint=IN_MM),
    default=0.5,
    show_default=True,
    help=f"How far levelling afterwards moves each corner, up or down, at most; 0 to {MOST_CORRECTION_MM:g}.",
)
@click.option(
    "--aim",
    type=click.Choice(tuple(AIM_WORDS)),
    default="expected",
    show_default=True,
    help="What is made least: the mean over levelling, its worst case, or the machine as placed.",
)
@click.option("--no-swap", is_flag=True, help="Leave the corners' own screws at their corners.")
@click.option("--no-check", is_flag=True, help="Do not run the machine before and after, with friction.")
@click.option(
    "--output",
    type=PICTURE,
    metavar="FILE",
    help="Picture file (PNG, SVG or PDF, by its ending); default: results/SCENARIO_clock.png.",
)
@set_option
@click.option("--no-pictures", is_flag=True, help="Draw nothing.")
def command(
    scenario: Path,
    spares: tuple[Path, ...],
    probe: str | None,
    levelling_correction_mm: float,
    aim: str,
    no_swap: bool,
    no_check: bool,
    output: Path | None,
    overrides: tuple[str, ...],
    no_pictures: bool,
) -> int:
    """Turn the screws in their couplings, and swap them, for the least lateral error.

    Levelling turns the screws again: the advice is for the error that is left then.
    """
    from bedsim.clocking.advice import advise, left_alone
    from bedsim.clocking.search import sets_to_search
    from bedsim.scenario.load import load_scenario
    from bedsim.scenario.spares import read_spares

    loaded = load_scenario(scenario, overrides, stage=progress_of)
    more = read_spares(spares)
    total = sets_to_search(len(loaded.scenario.corner), len(more))
    with progress_of(total, "sets of screws") as progress:
        advice = advise(
            loaded,
            spares=more,
            probe=probe,
            correction=levelling_correction_mm * MM,
            aim=aim,
            swap=not no_swap,
            progress=progress,
        )
    for line in advice_lines(advice):
        click.echo(line)
    if not no_check and not advice.leave and _worse_with_friction(loaded, advice):
        advice = left_alone(loaded, advice)
    tell(lambda: json_answer(advice))
    if not advice.leave:
        _steps(advice, scenario)
    if not no_pictures:
        usual = Path("results") / f"{scenario.stem}_clock.png"
        click.echo(f"\nPicture: {_drawn(loaded, advice, output or usual)}")
    return 0


def _drawn(loaded: LoadedScenario, advice: Advice, path: Path) -> Path:
    from bedsim.views.clock_plots import draw_clock

    make_folder(path.parent)
    return draw_clock(loaded.scenario, advice, path)


# ---- figures ------------------------------------------------------------------------------------------


def _length(value: float) -> str:
    from bedsim.analysis.printed import quantity

    return quantity(value, "m")


def advice_lines(advice: Advice) -> Iterator[str]:
    """Give the lines of the report before the workshop's steps."""
    yield _headline(advice)
    yield ""
    where = (
        f"at {advice.probes[0]}"
        if len(advice.probes) == 1
        else f"over {len(advice.probes)} probes of the bed"
    )
    yield f"Lateral error {where}: its RMS about the mean is made least, peak to valley told beside it."
    yield ""
    head = ("", "as it is", advice.name_of_best, *(AIM_SHORT[name] for name, _ in advice.others))
    settings = (advice.now, advice.best, *(s for _, s in advice.others))
    yield from _table([head, *(_row(text, name, settings) for text, name in ROWS)])
    yield f"  Clocked by chance, these screws would have {_length(advice.by_chance)} RMS as placed."
    yield ""
    yield from rest_lines(advice)
    if advice.leave:
        return
    yield ""
    yield "What inaccurate clocking costs (every screw off by up to so much, as placed, worst case):"
    for m in advice.misclocked:
        more = f"{_length(m.rms)} RMS, {_length(m.lateral_pv)} peak to valley"
        yield f"  {m.degrees:>2g}°   {more}"


def rest_lines(advice: Advice) -> Iterator[str]:
    """What is left as placed, part by part, and why it is not cancelled."""
    rest, one = advice.rest, len(advice.probes) == 1
    where = "" if one else "mean of the probes, "
    rows = [(f"{where}going round with the screws", rest.along), (f"{where}against them", rest.against)]
    rows += [] if one else [("apart from that mean: the bed turns", rest.turning)]
    told = [(text, *(_length(v) for v in (part.now, part.best, part.least))) for text, part in rows]
    yield "What clocking can and cannot cancel, RMS as placed:"
    head = ("", "as it is", advice.name_of_best, "least by itself")
    yield from _table([head, *told, ("not turning with any screw", "", _length(rest.standing), "")])
    for text in why_left(advice, [part for _, part in rows]):
        yield from textwrap.wrap(text, line_width(), initial_indent="  ", subsequent_indent="  ")


def why_left(advice: Advice, parts: Sequence[Part]) -> Iterator[str]:
    """Sentences on what cannot be cancelled."""
    from bedsim.clocking.rest import ALIKE

    rest = advice.rest
    corners = [p.corner for p in advice.placements]
    if rest.opposed < ALIKE:
        yield (
            "Mounts and guides pass a push alike in both directions: next to nothing goes against the screws."
        )
    else:
        yield (
            "Mounts and guides do not pass a push alike in both directions (a groove passes one of them): "
            f"each screw's circle comes out as an ellipse, {100 * rest.opposed:.0f} % as much of it going "
            "round against the screw as with it. Turning the screws turns the two opposite ways: what "
            "cancels one adds up the other."
        )
    for part in parts:
        largest = int(np.argmax(part.alone))
        if part.least > ALIKE * part.alone[largest]:
            yield (
                f"{_length(part.least)} of this stays however the screws are turned: the one at "
                f"{corners[largest]} makes {_length(part.alone[largest])} by itself, more than the others "
                "together."
            )
    alone = float(np.linalg.norm([*(part.least for part in parts), rest.standing]))
    if alone < advice.least_placed / 2:
        yield (
            f"Each by itself could be brought to what the last column says, all together to "
            f"{_length(advice.least_placed)} at the best that was found."
        )


AIM_SHORT = {"expected": "least expected", "worst": "least worst case", "placed": "least as placed"}
ROWS = (
    ("RMS as placed", "placed"),
    ("RMS after levelling, expected", "expected"),
    ("RMS after levelling, worst case", "worst"),
    ("peak to valley as placed", "lateral_pv"),
    ("peak to valley at that worst case", "worst_lateral_pv"),
    ("height, peak to valley as placed", "height_pv"),
)


def _row(text: str, name: str, settings: Sequence[Setting]) -> tuple[str, ...]:
    return (text, *(_length(getattr(s, name)) for s in settings))


def _table(rows: Sequence[tuple[str, ...]]) -> Iterator[str]:
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    for row in rows:
        yield "  " + "  ".join(v.ljust(w) for v, w in zip(row, widths, strict=True)).rstrip()


def _headline(advice: Advice) -> str:
    now, best = advice.now, advice.best
    change = f"from {_length(now.placed)} to {_length(best.placed)} RMS as placed"
    left = f"from {_length(now.expected)} to {_length(best.expected)} after levelling"
    if advice.leave:
        return f"Leave the screws as they are: {_why_leave(advice)}."
    return (
        f"Clocking takes the lateral error {change}; levelling within ±{advice.correction / MM:g} mm undoes "
        f"part of it: {left}. Of the {AIM_MEASURES[advice.aim]} {round(100 * advice.gain):d} % is gained."
    )


def _why_leave(advice: Advice) -> str:
    """What speaks against what was found: it is worse, or gains too little."""
    from bedsim.clocking.advice import LITTLE, LITTLE_GAIN

    now, best = advice.now, advice.best
    within = "" if advice.aim == "placed" else f" within ±{advice.correction / MM:g} mm"
    aimed = (
        f"the {AIM_MEASURES[advice.aim]}{within} goes from "
        f"{_length(getattr(now, advice.aim))} to {_length(getattr(best, advice.aim))} RMS"
    )
    if advice.gain <= 0:
        return f"nothing better was found, {aimed} at best"
    if advice.worse_as_placed:
        return (
            f"the best that was found is worse as placed, {_length(now.placed)} to {_length(best.placed)} "
            f"RMS; {aimed}"
        )
    least = f"{100 * LITTLE_GAIN:g} %" if advice.gain < LITTLE_GAIN else f"{_length(LITTLE)} RMS"
    return f"clocking gains little here, {aimed}. Less than {least} is not worth the work (our assumption)"


def _worse_with_friction(loaded: LoadedScenario, advice: Advice) -> bool:
    """Tell before and after as a run computes them, and whether the RMS is larger after."""
    from bedsim.clocking.response import degrees, extents, placed, root_mean_square
    from bedsim.errors import SolverError
    from bedsim.simulation import simulate

    screws = [advice.response.screws[k] for k in advice.best.screw]
    try:
        with progress_of(2 * loaded.scenario.print.layers, "with friction") as progress:
            before = simulate(loaded, progress=progress).layers
            after = simulate(
                placed(loaded, screws, degrees(advice.best.clocking)),
                progress=lambda done: progress(loaded.scenario.print.layers + done),
            ).layers
    except SolverError as fault:
        say(f"With friction, play and vibration: not computed ({fault}).")
        return False
    walls = advice.response.walls
    told = [
        " and ".join(
            f"{_length(v)} {word}"
            for v, word in zip(
                extents((run.lateral_error, run.height_error), advice.chosen_probes, walls),
                ("sideways", "in height"),
                strict=True,
            )
        )
        for run in (before, after)
    ]
    click.echo("")
    say(
        "With friction, play and vibration, as a run has them, peak to valley as placed: "
        f"{told[0]} before, {told[1]} after."
    )
    rms = [root_mean_square(run.lateral_error, advice.chosen_probes, walls) for run in (before, after)]
    if rms[1] <= rms[0]:
        return False
    say(
        "Leave the screws as they are: with friction, play and vibration the RMS goes from "
        f"{_length(rms[0])} to {_length(rms[1])}, so what was found is worse."
    )
    return True


# ---- workshop -----------------------------------------------------------------------------------------


def _steps(advice: Advice, scenario: Path) -> None:
    """What to do, in the order of doing it."""
    click.echo(f"\nIn the workshop ({AIM_WORDS[advice.aim]}; angles seen from above):")
    for number, text in enumerate(_step_texts(advice), start=1):
        say(f"{number}. {text}")
    if advice.left_over:
        say(f"Left over: {', '.join(advice.left_over)}.")
    click.echo("")
    for text in _notes(advice):
        say(text)
    kept = [p for p in advice.placements if not p.moved]
    if len(kept) == len(advice.placements):
        sets = " ".join(f'--set "corner.{p.corner}.screw.clocking_deg={p.clocking / DEG:.1f}"' for p in kept)
        click.echo(f"\nTo see it layer by layer: bedsim run {scenario} {sets}")


def _step_texts(advice: Advice) -> Iterator[str]:
    yield (
        "Support the bed, then take it to the height of layer 1. Draw a line across coupling and screw at "
        "every corner, on the side of +X: the clocking zero, from which directions of run-out count."
    )
    for p in advice.placements:
        yield _turn_text(p)
    yield (
        "Take up the height at the bed's mounts or with shims under the nut, not by turning the screw, and "
        "level there too: a screw that levels turns back what was clocked."
    )
    yield "Gauge each screw once more as it is mounted now: a screw clamped anew can bend otherwise."


def _turn_text(p: Placement) -> str:
    way = "counter-clockwise" if p.turn >= 0 else "clockwise"
    amount = f"{abs(p.turn) / DEG:.0f}° {way}"
    if p.moved:
        put_in = f"{p.corner}: put in {p.screw} with its own zero mark on the line"
        return f"{put_in}, then turn it in the coupling by {amount}." if p.turned else f"{put_in}."
    if not p.worked_on:
        return f"{p.corner}: leave it."
    lift = "down" if p.nut_shift < 0 else "up"
    return (
        f"{p.corner}: loosen the coupling, turn the screw in it by {amount}, tighten. The nut goes "
        f"{abs(p.nut_shift) / MM:.2f} mm {lift} by that."
    )


def _notes(advice: Advice) -> Iterator[str]:
    from bedsim.clocking.search import LOOKED_AT_CLOSELY

    turned = ", ".join(
        f"{p.corner} {a / DEG:.0f}°"
        for p, a in zip(advice.placements, advice.turned_by_levelling, strict=True)
    )
    yield (
        f"Levelling by {advice.correction / MM:g} mm turns the screws by up to: {turned}. Taken as "
        "independent at every corner and evenly distributed (assumption)."
    )
    searched = "one set of screws" if advice.sets == 1 else f"{advice.sets} sets of screws"
    if advice.aim == "worst":
        sure = "The least worst case is searched from the best of the other two, and not proven"
    elif advice.proven:
        sure = "No other clocking of these screws at these corners is better by more than 1 % (proven)"
    else:
        sure = "The best of many starts; that none is better is not proven here"
    if advice.sets > LOOKED_AT_CLOSELY:
        searched += f" (closely at the {LOOKED_AT_CLOSELY} most promising by a rough search)"
    yield (
        f"{sure}; {searched} looked at, screws are only moved where that gains more than 1 %, and all are "
        "turned alike only where that does."
    )
    yield (
        "Frictionless machine with fitting nuts; run-out and once-per-turn travel turn with the screw, the "
        "slow part of its travel goes with it to another corner."
    )
    yield (
        "Caution: a bed can fall or be driven back while a coupling is loose and when motors lose current: "
        "secure it first."
    )
