"""A layer along its commanded motion, in equal steps, shorter where contacts ask for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from bedsim.engines.course import MotionPart
from bedsim.engines.layer_integrator import LayerIntegrator
from bedsim.engines.layer_problem import LayerProblem
from bedsim.engines.modes import mixed, standing
from bedsim.engines.step_control import INSTANT, spaces

Array = NDArray[np.float64]
OFTEN = 1e-3  # s: motions reported this close
FORCING, FREELY = 4e-4, 2.5e-4  # s: known forcing is taken at instants this close, with friction and without
CYCLE = 8  # instants in a cycle of the fastest imperfection, at least: parabolas through them miss 3 %


def drive(integrator: LayerIntegrator, parts: Sequence[MotionPart], stride: int) -> None:
    """Integrate along the commanded motion, each step over `stride` nodes of known forcing. Raises
    SolverError where contacts find no solution."""
    for part in parts:
        while part.end - part.start > INSTANT:
            part = _follow(integrator, part, stride)


def _follow(integrator: LayerIntegrator, part: MotionPart, stride: int) -> MotionPart:
    """Integrate a part for as long as the iteration for the contacts converges with its step, and the
    remainder with half the step."""
    (known,) = integrator.problem.forcing([part])
    rest = standing(mixed(known.rest, integrator.mix))
    step, k = stride * known.spacing, 0
    answers = integrator.problem.answers(step, stride, known.pace)
    while k < known.spaces:
        count = min(integrator.longest, (known.spaces - k) // stride)
        found = integrator.integrate(
            step, known.stretch(k, count, integrator.mix, answers), rest, count, OFTEN
        )
        if integrator.too_coarse(step, found, integrator.problem.control.force_error):
            break
        at = [k + stride * i for i in found.kept]
        integrator.keep(step, found, rest)
        integrator.imposed.append(known.imposed[:, at])
        k += stride * found.taken
        if found.taken < count:
            break
    start = part.end if k == known.spaces else part.start + k * known.spacing
    if part.end - start < INSTANT:
        return replace(part, start=part.end)
    return replace(
        part,
        start=start,
        spaces=stride * spaces(part.end - start, integrator.problem.control.halved(step)),
    )


def forcing_spacing(problem: LayerProblem) -> float:
    """Spacing of the instants, s, at which known forcing is sampled."""
    machine, motion = problem.plan.job.machine, problem.plan.motion
    ends = motion.speed(np.repeat(motion.time, 2)[1:-1], np.repeat(np.arange(motion.time.size - 1), 2))
    turns = np.abs(machine.command).max() / (2 * np.pi) * np.abs(ends).max()
    return min(FORCING, 1 / float(CYCLE * machine.fastest_cycle * turns)) if turns > 0 else FORCING


def parts_of(problem: LayerProblem, spacing: float, finer: int) -> list[MotionPart]:
    """The pieces of the motion in equal steps of at most `spacing` s, known forcing sampled so much finer."""
    ends = [(float(a), float(b)) for a, b in pairwise(problem.plan.motion.time)]
    parts = [
        MotionPart(piece=k, start=a, end=b, spaces=finer * spaces(b - a, spacing))
        for k, (a, b) in enumerate(ends)
    ]
    problem.forcing(parts)
    return parts
