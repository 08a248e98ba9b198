"""The nominals of a long batch, from some of their layers: the others are fitted in height and turn.

As in a long print of one machine (`fitted.py`), but with few functions: a nominal is the mean of many
machines that were drawn, so that little of what turns with the screws is left of it, and what it makes of a
layer is mostly smooth in height.  What its contacts travel is fitted like what is reported; where they stand
along that path follows from the forces that were followed from layer to layer.

Whether a nominal is fitted well enough is measured on layers of its own.  What the deviations from it miss is
measured on checked members: some of their layers are stepped in full from where the engine has them, and what
these differ by at their ends is led on from layer to layer along the nominal's path, as `fitted.py` does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base, fitted
from bedsim.engines.base import Chunk, Job, Observer
from bedsim.engines.contact_space import ContactSpace, contact_space, limited
from bedsim.engines.deviation_steps import DrivenPath, driven_steps, joined_paths, ring_down
from bedsim.engines.fitted import FittedCourse, FittedPrint, InFull, Solve
from bedsim.engines.layer_integrator import Trail
from bedsim.engines.nominals import CheckedMembers, NominalLayer, seen_at
from bedsim.engines.propagator import PropagatorEngine
from bedsim.engines.rest_of_layers import rest_of_layers
from bedsim.engines.sensitivity import sensitivity
from bedsim.engines.solved import Solved, report
from bedsim.engines.state import State
from bedsim.model.assembly import System

Array = NDArray[np.float64]
Layers = NDArray[np.int64]
Indices = NDArray[np.intp]

FEWEST = 50  # layers that are fitted
WORTH = 1.2  # times as many layers as are stepped in full
CHECKED = 8  # layers that show how well a nominal is fitted
MEMBER_LAYERS = 12  # of every checked member
WITHIN = 1e-8  # m


@dataclass(frozen=True, slots=True, kw_only=True)
class NominalCourse:
    """A nominal in the layers (l,) of `fit`, some of which, `nodes`, are in full: friction limits (l, b)
    of the bristles in `order`, paths, what is reported, by name, and what is `seen` (i+1, v, l)."""

    fit: FittedPrint
    found: FittedCourse
    nodes: Indices
    order: Indices
    limit: Array
    paths: list[DrivenPath]
    fields: dict[str, Any]
    seen: Array


class FittedNominals:
    """Fitted nominals, and what is heard of the members of `job` with the numbers `checked`."""

    def __init__(
        self, engine: PropagatorEngine, job: Job, checked: Indices, courses: list[NominalCourse]
    ) -> None:
        self._engine, self._job, self._checked, self._courses = engine, job, checked, courses
        self._layers = courses[0].fit.layers
        self._which = courses[0].fit.between(courses[0].nodes, MEMBER_LAYERS)
        self._of = np.zeros(checked.size, dtype=np.intp)
        self._pose: list[Array] = []  # after every layer
        self._force: list[Array] = []  # after every layer, layer 1 too

    @property
    def told(self) -> str:
        """How they and the error were found, in words."""
        return (
            f"{self._which.size} layers of each of {self._checked.size} of {{members}} machines were stepped "
            "in full besides, and what they miss led on from layer to layer"
        )

    def layer(
        self, system: System, observer: Observer, index: int, space: ContactSpace, before: State
    ) -> tuple[State, NominalLayer]:
        """The `index`-th layer of a system; states of those in full are not moved."""
        layer, rows = int(system.layers[index]), space.rows
        at = layer - int(self._layers[0])
        bring, leave = (
            np.stack([c.found.forces[k, rows.order] / rows.limit[0] for c in self._courses], axis=1)
            for k in (at, at + 1)
        )
        values: dict[str, Any] = {
            name: np.stack([c.fields[name][at] for c in self._courses])[:, None] for name in base.BY_MEMBER
        }
        return before, NominalLayer(
            before=bring,
            after=leave,
            paths=[c.paths[at] for c in self._courses],
            full=Chunk(layers=system.layers[index : index + 1], **values),
            seen=np.stack([c.seen[..., at] for c in self._courses], axis=-1),
        )

    def compare(self, layer: int, checked: CheckedMembers, nominal: NominalLayer | None) -> None:
        """Hear what became of checked members; `nominal` None: after layer 1."""
        course = self._courses[0]
        at = layer - int(self._layers[0])
        own = [self._courses[k].found.forces[at + 1] for k in checked.of]
        force = np.array(own)
        force[:, course.order] += checked.psi.T * course.limit[max(at, 0)]
        self._of = checked.of
        self._force.append(force)
        if nominal is not None:
            self._pose.append(checked.pose)

    def error(self) -> tuple[float, float]:
        """Largest errors m of height and sideways measured."""
        which, layers = self._which, self._layers[self._which]
        found = []
        for c, member in enumerate(self._checked):
            job = replace(self._job, amounts=self._job.amounts[[member]])
            before, after, pose = (
                np.array([values[k][c] for k in at])
                for values, at in ((self._force, which), (self._force, which + 1), (self._pose, which))
            )
            began = rest_of_layers(job, layers - 1).states(np.arange(which.size), before)
            solved = self._engine.solved(job, layers, began)
            apart, left = report(solved).pose[:, 0] - pose, solved.after.f - after
            course = self._courses[self._of[c]]
            found.append(course.fit.error(course.found, which, apart, left))
        height, lateral = np.max(found, axis=0)
        return float(height), float(lateral)


def fitted_nominals(
    engine: PropagatorEngine, job: Job, nominals: Array, checked: Indices, begin: State
) -> FittedNominals | None:
    """The layers after the first of nominals with amounts (k, s), from their states after it; None where
    layers are too few, no functions of height and turn, or are fitted too badly."""
    layers, courses = np.arange(2, job.program.layers + 1), []
    for k, amounts in enumerate(nominals):
        own = replace(job, amounts=amounts[None], progress=lambda done: None)
        if layers.size < FEWEST or not fitted.worth(own, layers):
            return None
        course = _course(engine, own, layers, begin.member(k))
        if course is None:
            return None
        courses.append(course)
    return FittedNominals(engine, job, checked, courses)


def _course(engine: PropagatorEngine, job: Job, layers: Layers, begin: State) -> NominalCourse | None:
    """One nominal."""
    basis = fitted.basis_of(job, layers, (*fitted.FIRST, *fitted.rotor_harmonics(job)))
    nodes = fitted.with_early(basis)
    if layers.size < WORTH * nodes.size:
        return None
    rough = replace(engine, control=engine.control.coarser).solved
    fit = FittedPrint(job, layers, begin, engine.solved, rough)
    guesses = fit.guessed(nodes)
    tried, _ = _in_full(fit, nodes, guesses, rough)
    found = fit.followed(basis, tried, basis.weights() @ guesses[fitted.EARLY :])
    again, _ = _in_full(fit, nodes, found.forces[nodes], rough)
    beside = fit.beside(tried, again)
    found = fit.followed(basis, again, basis.smooth(found.forces[fitted.EARLY : -1]), beside)
    known, solved = _in_full(fit, nodes, found.forces[nodes], partial(engine.solved, trailed=True))
    found = fit.followed(basis, known, basis.smooth(found.forces[fitted.EARLY : -1]), beside)
    fields = fit.fields(found, known)
    between = fit.between(nodes, CHECKED)
    shown, _ = _in_full(fit, between, found.forces[between], engine.solved)
    error = fit.error(found, between, *fit.differences(found, shown))
    if max(error) > WITHIN or fields["stop_hit"].any():
        return None
    return _along(fit, found, nodes, solved, fields)


def _in_full(fit: FittedPrint, which: Indices, begin: Array, solve: Solve) -> tuple[InFull, Solved]:
    """Layers stepped side by side, all in the same steps, from forces (k, d) at their begin."""
    solved = solve(fit.job, fit.layers[which], fit.rest.states(which, begin))
    carry, _ = sensitivity(solved)
    return InFull(which=which, begin=begin, end=solved.after.f, carry=carry, chunk=report(solved)), solved


def _along(
    fit: FittedPrint, found: FittedCourse, nodes: Indices, solved: Solved, fields: dict[str, Any]
) -> NominalCourse:
    """All layers from those in full at the nodes."""
    trail, rows, weights = solved.trail, solved.modes.rows, found.weights
    assert trail is not None
    breaks = solved.plan.motion.time
    driven = driven_steps(trail, breaks)
    limit = fit.rest.limit[1:, rows.order]
    moved = trail.moved[:driven] @ weights.T
    every = Trail(time=trail.time, moved=moved, path=trail.path[:, :, :1])
    resting = [
        ring_down(contact_space(solved.modes, k), trail.path[driven:, :, k]) for k in range(nodes.size)
    ]
    phi = limited(rows, (found.forces[:-1, rows.order] / limit).T)
    return NominalCourse(
        fit=fit,
        found=found,
        nodes=nodes,
        order=rows.order,
        limit=limit,
        paths=joined_paths(rows, every, phi, breaks, np.tensordot(weights, np.array(resting), 1)),
        fields=fields,
        seen=seen_at(solved, breaks) @ weights.T,
    )
