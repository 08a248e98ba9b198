"""What `bedsim size` prints of a power loss, a tilt, a shaken frame and the speeds of a layer change."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from bedsim import number_text
from bedsim.cli.text import listed, wrapped
from bedsim.units import DEG, MM, MM_S, UM

if TYPE_CHECKING:
    from bedsim.analysis.move_speeds import SpeedReport
    from bedsim.power_loss.report import PowerLossReport
    from bedsim.scenario.load import LoadedScenario
    from bedsim.shake.report import ShakeReport
    from bedsim.tilt.report import TiltReport


class Answer(NamedTuple):
    """Lines of one event, a function that draws it to a path, and the report that both are made from."""

    name: str
    lines: list[str]
    draw: Callable[[Path], Path]
    report: object


def power_loss(loaded: LoadedScenario) -> Answer:
    """Compute the power loss of a scenario."""
    from bedsim.power_loss.report import power_loss_scenario

    report = power_loss_scenario(loaded)

    def draw(path: Path) -> Path:
        from bedsim.views.event_plots import draw_power_loss

        return draw_power_loss(report, path)

    return Answer("power_loss", list(power_loss_lines(report)), draw, report)


def tilt(loaded: LoadedScenario) -> Answer:
    """Compute the tilt of a scenario."""
    from bedsim.tilt.report import tilt_scenario

    report = tilt_scenario(loaded)

    def draw(path: Path) -> Path:
        from bedsim.views.event_plots import draw_tilt

        return draw_tilt(report, path)

    return Answer("tilt", list(tilt_lines(report)), draw, report)


def shake(loaded: LoadedScenario) -> Answer:
    """Compute the shaken frame of a scenario."""
    from bedsim.shake.report import shake_scenario

    report = shake_scenario(loaded)

    def draw(path: Path) -> Path:
        from bedsim.views.event_plots import draw_shake

        return draw_shake(report, path)

    return Answer("shake", list(shake_lines(report)), draw, report)


def speeds(loaded: LoadedScenario) -> Answer:
    """Compute what the speeds of a layer change do."""
    from bedsim.analysis.move_speeds import speed_scenario

    report = speed_scenario(loaded)

    def draw(path: Path) -> Path:
        from bedsim.views.speed_plots import draw_speeds

        return draw_speeds(report, path)

    return Answer("speeds", list(speed_lines(report)), draw, report)


def power_loss_lines(report: PowerLossReport) -> Iterator[str]:
    """Give the lines of a power loss."""
    yield f"{report.title}: power loss"
    yield ""
    yield f"{'The whole bed':<31} {'layer':>6}  {'outcome':<16} {'drop mm':>9} {'after s':>8} {'top mm/s':>9}"
    for row in report.rows:
        numbers = f"{number(row.lost / MM):>9} {number(row.time):>8} {number(row.top_speed / MM_S):>9}"
        yield f"  {row.case:<29} {row.layer:>6}  {row.outcome:<16} {numbers}"
    yield ""
    yield f"{'Corners apart':<57} {'mm':>7} {'tilt °':>7} {'s':>7} {'side N':>7}"
    for apart in report.unequal:
        name = f"{apart.case}: {apart.corner}"
        cells = (apart.difference / MM, apart.tilt / DEG, apart.time, apart.side_force)
        yield f"  {name[:55]:<55} " + " ".join(f"{number(x):>7}" for x in cells)
        yield f"      ended by: {apart.end}"
    yield from listed("Missing", report.missing or ("nothing by these numbers",))
    yield from listed("Assumptions", report.assumptions)
    yield from _cautions(report.cautions)


def tilt_lines(report: TiltReport) -> Iterator[str]:
    """Give the lines of a tilt."""
    yield f"{report.title}: tilting"
    yield ""
    worst = int(report.largest.argmin())
    if report.largest.min() == float("inf"):
        yield "Largest tilt: none of the limits known is passed up to 45°; what is not known stands below"
    else:
        yield from _largest_lines(report, worst)
    course = report.course
    if course is None:
        yield "No tilt asked for: give tilt.about_x_deg or tilt.about_y_deg for its errors."
    else:
        yield f"Asked for: {number(report.asked / DEG)}° about an axis at {report.towards / DEG:.0f}°"
        yield ""
        yield f"{'Order of failing':<44} {'at tilt °':>10}"
        failing = [passed for passed in report.order if passed.angle < float("inf")]
        for passed in failing:
            at = "" if passed.corner == "all" else f" at {passed.corner}"
            yield f"  {passed.kind + at:<42} {number(passed.angle / DEG):>10}"
        if not failing:
            yield "  none of the limits known, up to 45°"
        yield ""
        yield f"{'Along the tilt':<24} {'screw mm':>9} {'give mm':>9} {'side N':>8} {'joint µm':>9}"
        for k, name in enumerate(report.corner_names):
            joint = course.joint_excursion[:, k].max() / UM
            cells = (
                f"{number(course.lift[-1, k] / MM):>9} {number(course.give[-1, k] / MM):>9} "
                f"{number(course.side_force[:, k].max()):>8} {number(joint):>9}"
            )
            yield f"  {name[:22]:<22} {cells}"
        wander = course.wander[-1] / MM
        yield f"Held point, where the tilt leads it: {wander[0]:.3f} mm in X, {wander[1]:.3f} mm in Y"
        worst_error = abs(course.error).max(axis=0) / UM
        yield (
            f"Held point, errors along the way: up to {number(worst_error[0])} µm in X, "
            f"{number(worst_error[1])} µm in Y, {number(worst_error[2])} µm in height"
        )
    yield from listed("Missing", report.missing or ("nothing by these numbers",))
    yield from listed("Assumptions", report.assumptions)
    yield from _cautions(report.cautions)


def _largest_lines(report: TiltReport, worst: int) -> Iterator[str]:
    yield from wrapped(
        f"Largest tilt: {_degrees(report.largest.min())} in the worst direction (axis at "
        f"{report.directions[worst] / DEG:.0f}°, {report.first[worst] or 'no limit'}), "
        f"{_degrees(report.largest.max())} in the best",
        "",
        "  ",
    )


def shake_lines(report: ShakeReport) -> Iterator[str]:
    """Give the lines of a shaken frame."""
    yield f"{report.title}: shaken frame"
    yield ""
    names = [f"layer {row.layer}" for row in report.rows]
    yield f"{'At the nozzle':<52} " + " ".join(f"{name:>12}" for name in names)
    for words, values in (
        ("strongest natural frequency, Hz", [row.frequency[0] for row in report.rows]),
        ("sideways while pushed, largest, µm", [row.peak_lateral / UM for row in report.rows]),
        ("sideways while pushed, if it lasted, µm", [row.steady / UM for row in report.rows]),
        ("height while pushed, largest, µm", [row.peak_height / UM for row in report.rows]),
        ("after the push, until below the target, s", [row.dwell_shaken[0] for row in report.rows]),
        ("  the same at the lowest damping, s", [row.dwell_shaken[1] for row in report.rows]),
        ("after a layer change, until below the target, s", [row.dwell_change[0] for row in report.rows]),
        ("  the same at the lowest damping, s", [row.dwell_change[1] for row in report.rows]),
    ):
        yield f"  {words:<50} " + " ".join(f"{number(v):>12}" for v in values)
    yield ""
    settle = (
        f"print.settle_s is {report.settle:g}"
        if report.said_by == "print.settle_s"
        else f"{report.said_by} pauses for {number(report.settle)} s or more"
    )
    yield (
        f"Suggested pause after a layer change: {number(report.suggested)} s for {report.target / UM:g} µm "
        f"left ({settle})"
    )
    yield from listed("Assumptions", report.assumptions)
    yield from _cautions(report.cautions)


def speed_lines(report: SpeedReport) -> Iterator[str]:
    """Give the lines of a scan of speeds: one sentence first."""
    yield f"{report.title}: speeds of a layer change"
    yield ""
    yield from wrapped(report.sentence, "", "  ")
    yield ""
    yield f"{'speed mm/s':>12} {'left on the worst seat':>24} {'vibration µm':>14}"
    for ride in report.here[::3]:
        kept = f"{100 * ride.share:.0f} %" if ride.share > 0 else "lifts"
        yield f"{number(ride.speed / MM_S):>12} {kept:>24} {number(ride.vibration / UM):>14}"
    yield from listed(
        "Where an error of the motors meets a mode", [c.words for c in report.resonances] or ["none"]
    )
    yield from listed("Assumptions", report.assumptions)
    yield from _cautions(report.cautions)


def _cautions(lines: Sequence[str]) -> Iterator[str]:
    yield ""
    for line in lines:
        yield from wrapped(line, "", "  ")


def _degrees(angle: float) -> str:
    return "more than 45°" if angle == float("inf") else f"{number(angle / DEG)}°"


def number(value: float) -> str:
    """Write a number with three digits; what is below half a thousandth is nothing."""
    return number_text.number(0.0 if abs(value) < 5e-4 else float(value))
