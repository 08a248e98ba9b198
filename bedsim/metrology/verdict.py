"""Which grade a measured screw meets, by what margin and how surely: "undecided" within the gauge's
uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from bedsim.errors import InputError
from bedsim.metrology.centreline_fit import CentrelineFit, run_out_at
from bedsim.metrology.readings import Extremes
from bedsim.metrology.runout_fit import magnitude_uncertainty
from bedsim.metrology.setup import Setup
from bedsim.number_text import number
from bedsim.screws.drawn import bow_shape
from bedsim.screws.grades import Grade, GradeLimit, grades_of, has_limit, limit, parse_grade
from bedsim.screws.limits import straightness_limits
from bedsim.screws.standard_evaluation import evaluate_centreline
from bedsim.units import MM, UM

COVERAGE = 2.0  # a verdict is given only beyond two standard uncertainties, about 95 % two-sided

Outcome = Literal["meets", "exceeds", "undecided"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """One measured run-out against one limit, all TIR [m].

    `ratio`: measured over limit; `margin`: limit minus measured; `probability` that the true run-out is
    within the limit, a normal error with the standard `uncertainty` assumed.
    """

    outcome: Outcome
    limit: GradeLimit
    run_out: float
    uncertainty: float
    ratio: float
    margin: float
    probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GradeVerdict:
    """All grades of one table, finest first; `best` is the finest that is surely met (None: none is)."""

    quantity: str
    what: str
    verdicts: tuple[Verdict, ...]

    @property
    def best(self) -> Verdict | None:
        """The finest grade whose limit is surely met."""
        return next((v for v in self.verdicts if v.outcome == "meets"), None)

    @property
    def undecided(self) -> tuple[Verdict, ...]:
        """Grades that the gauge cannot decide."""
        return tuple(v for v in self.verdicts if v.outcome == "undecided")


def judge(run_out: float, uncertainty: float, allowed: GradeLimit) -> Verdict:
    """Hold a measured run-out (TIR) [m] with its standard uncertainty [m] against a limit.

    Meets: run_out + 2 u <= limit.  Exceeds: run_out - 2 u > limit.  Undecided between.
    """
    margin = allowed.value - run_out
    if margin >= COVERAGE * uncertainty:
        outcome: Outcome = "meets"
    elif margin < -COVERAGE * uncertainty:
        outcome = "exceeds"
    else:
        outcome = "undecided"
    spread = max(uncertainty, 1e-15)
    return Verdict(
        outcome=outcome,
        limit=allowed,
        run_out=run_out,
        uncertainty=uncertainty,
        ratio=run_out / allowed.value,
        margin=margin,
        probability=0.5 * math.erfc(-margin / (spread * math.sqrt(2))),
    )


def run_out_verdict(run_out: float, uncertainty: float, diameter: float, what: str) -> GradeVerdict:
    """Judge a run-out of the thread near a held end against every JIS class with a limit for this diameter
    [m]."""
    found = [
        judge(run_out, uncertainty, limit(g, "thread_run_out", diameter=diameter))
        for g in grades_of("JIS")
        if has_limit(g, "thread_run_out", diameter=diameter)
    ]
    return GradeVerdict(quantity="thread_run_out", what=what, verdicts=tuple(found))


def straightness_verdict(fit: CentrelineFit, diameter: float) -> GradeVerdict | None:
    """Judge the fitted bow against the straightness of the ISO grades; None if no bow was fitted or no table
    fits.

    The bow is evaluated as on a bench, against the line through the ends of the free length.  For each grade
    the tighter of t5max (screws of at least four l5) and t5p counts.
    """
    if "bow" not in fit.terms:
        return None
    s = np.linspace(0.0, fit.length, 801)
    shape = bow_shape(s, fit.length, fit.free_end)
    bow, u = abs(fit.value("bow")), magnitude_uncertainty(fit.value("bow"), fit.block("bow"))
    verdicts = []
    for grade in grades_of("ISO"):
        try:
            local, whole, window = straightness_limits(grade, fit.length, diameter)
        except InputError:
            continue
        unit = evaluate_centreline(s, shape, window)
        options = [judge(float(unit.local) * bow, float(unit.local) * u, local)]
        if whole is not None:
            options.append(judge(float(unit.straightness) * bow, float(unit.straightness) * u, whole))
        verdicts.append(max(options, key=lambda v: v.ratio))
    if not verdicts:
        return None
    over = f"growth over {window / MM:g} mm" if verdicts[0].limit.quantity == "t5p" else "whole length"
    what = f"bow as on two supports at the ends, {over}"
    return GradeVerdict(quantity="straightness", what=what, verdicts=tuple(verdicts))


def centreline_verdicts(fit: CentrelineFit, setup: Setup) -> tuple[GradeVerdict, ...]:
    """All verdicts a fitted centreline allows; needs the diameter (raises InputError without)."""
    if setup.diameter is None:
        raise InputError("diameter_mm: the nominal diameter is needed to look up limits.")
    found = []
    if "eccentricity" in fit.terms:
        ends = [("lower end", 0.0)] + ([("upper end", fit.length)] if not fit.free_end else [])
        worst = max(((*run_out_at(fit, s), name) for name, s in ends), key=lambda t: t[0])
        found.append(run_out_verdict(worst[0], worst[1], setup.diameter, f"thread at the {worst[2]}"))
    bent = straightness_verdict(fit, setup.diameter)
    return (*found, bent) if bent is not None else tuple(found)


def extremes_verdict(extremes: Extremes, setup: Setup) -> GradeVerdict:
    """Judge readings without angles: the position next to the lower end, maximum minus minimum.

    Out-of-roundness is contained in such a reading, so it can only be too large.
    """
    if setup.diameter is None:
        raise InputError("diameter_mm: the nominal diameter is needed to look up limits.")
    tir = float(extremes.largest[0] - extremes.smallest[0])
    what = f"thread at {extremes.position[0] / MM:g} mm, the lowest read"
    return run_out_verdict(tir, extremes_uncertainty(setup), setup.diameter, what)


def extremes_uncertainty(setup: Setup) -> float:
    """Standard uncertainty [m] of a maximum minus a minimum: two readings, and the holding on the offset
    twice."""
    return math.hypot(math.sqrt(2) * setup.reading_uncertainty, 2 * setup.holding_uncertainty)


def unread(span: float, setup: Setup) -> str | None:
    """What to ask where the largest `span` [m] read at any position is less than a division of the gauge.

    No grade can be judged then: such a span is not read off this gauge, and a slip of the unit by a thousand
    looks like the best of screws.
    """
    if span >= setup.resolution * (1 - 1e-9):
        return None
    return (
        f"No position's readings differ by more than {number(span / UM, 2)} µm, less than one division "
        f"of the gauge "
        f"({setup.resolution / UM:g} µm). Is the unit in the column's name the one they were written in, or "
        "are they mm (reading_mm) or inch? Or is the gauge finer (resolution_um)? No grade is judged."
    )


def against_class(run_out: float, grade: Grade | str, diameter: float, outcome: Outcome | None = None) -> str:
    """Say a run-out near a held end (TIR) [m] against the limit of a class, as a workshop would.

    An `outcome` that is undecided is told as such: the number alone would pass for a verdict.

    Example: "run-out 0.150 mm on a screw whose class (C7) allows 0.014 mm: over ten times the limit (10.7)".
    """
    g = parse_grade(grade) if isinstance(grade, str) else grade
    allowed = limit(g, "thread_run_out", diameter=diameter)
    ratio = run_out / allowed.value
    names = {
        10: "ten",
        9: "nine",
        8: "eight",
        7: "seven",
        6: "six",
        5: "five",
        4: "four",
        3: "three",
        2: "two",
    }
    count = next((k for k in names if ratio > k), None)
    if outcome == "undecided":
        how = f"{ratio:.2f} times the limit, which the gauge's uncertainty leaves open"
    elif ratio <= 1:
        how = f"within the limit ({ratio:.2f} of it)"
    elif count is None:
        how = f"over the limit ({ratio:.2f} times)"
    else:
        how = f"over {names[count]} times the limit ({ratio:.1f})"
    name = g.name if g.standard == "JIS" else str(g)
    return (
        f"run-out {run_out / UM / 1000:.3f} mm on a screw whose class ({name}) allows "
        f"{allowed.value_um / 1000:.3f} mm: {how}"
    )


def sentence(verdict: GradeVerdict) -> str:
    """One sentence: the best grade surely met, its margin, how sure, and what stays undecided."""
    first = verdict.verdicts[0]
    said = (
        f"{verdict.what}: run-out {first.run_out / UM:.1f} ± {first.uncertainty / UM:.1f} µm (TIR, k = 1): "
    )
    best = verdict.best
    if best is not None:
        said += (
            f"meets {best.limit.grade} ({best.limit.value_um:g} µm), margin {best.margin / UM:.1f} µm, "
            f"{_percent(best.probability)} sure"
        )
    else:
        said += f"meets no {'class' if verdict.quantity == 'thread_run_out' else 'grade'} surely"
    if verdict.undecided:
        said += f"; {_undecided(verdict.undecided)}"
    last = verdict.verdicts[-1]
    if best is None and not verdict.undecided:
        said += f"; {last.ratio:.1f} times what {last.limit.grade} allows ({last.limit.value_um:g} µm)"
    return said + "."


def _undecided(open_ones: Sequence[Verdict]) -> str:
    """All grades that the gauge cannot decide, in one clause."""
    first, last = open_ones[0], open_ones[-1]
    if first is last:
        chance = _percent(first.probability)
        return f"{first.limit.grade} ({first.limit.value_um:g} µm): undecided, {chance} to be within"
    names = ", ".join(v.limit.grade.name for v in open_ones)
    kind = str(first.limit.grade).removesuffix(first.limit.grade.name).strip()
    limits = sorted({v.limit.value_um for v in open_ones})
    chances = sorted(v.probability for v in open_ones)
    spread = f"{limits[0]:g} to {limits[-1]:g}" if len(limits) > 1 else f"{limits[0]:g}"
    low, high = (_percent(p) for p in (chances[0], chances[-1]))
    return (
        f"{kind}{'es' if kind.endswith('s') else 's'} {names} ({spread} µm): undecided, "
        f"{low.removesuffix(' %')} to {high} to be within"
    )


def _percent(probability: float) -> str:
    if probability > 0.999:
        return "over 99.9 %"
    return f"{100 * probability:.1f} %" if probability > 0.99 else f"{100 * probability:.0f} %"
