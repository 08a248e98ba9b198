"""The deviations engine: a few machines of a batch in full, the others as slow deviations from them.

Members of a batch differ in their imperfections alone.  They are sorted by what these move at the contacts
and put into groups; the mean of each group, its nominal, is stepped by the propagator, and tells its members
what their contacts travel (`deviation_steps.py`); in a long print only some of its layers are stepped, and
the others fitted to them (`fitted_nominals.py`).  Layer 1, which comes from the run-in and not from another
ring-down, is stepped in full for everyone; the run-in is that of `contact_space.py`.

A member's extremes of a layer are taken at the ends of the pieces of the motion and at rest, and what the
nominal's own exceed those of the same instants by is added.  What tells of vibration is the nominal's.

The error is measured in every batch: some members are stepped in full besides, and a remark of the last chunk
tells the largest difference.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base, contact_space, deviation_report, state
from bedsim.engines.base import Chunk, Job, Observer
from bedsim.engines.contact_space import ContactSpace, limited
from bedsim.engines.deviation_report import Reporter, UnitsAhead
from bedsim.engines.deviation_steps import Deviation, DrivenPath, march
from bedsim.engines.fitted_nominals import fitted_nominals
from bedsim.engines.modes import layer_modes
from bedsim.engines.nominals import CheckedMembers, Nominals, SteppedNominals
from bedsim.engines.propagator import PropagatorEngine
from bedsim.engines.state import State
from bedsim.errors import EngineRefusalError
from bedsim.model.assembly import System
from bedsim.units import UM

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

BLOCK = 1024  # members of a group side by side
FEW = 16  # members, and fewer: all are stepped in full
LITTLE = 0.5  # of the scatter: what a mean is taken as none below


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Members of one nominal, and what they differ from it by (r, m) in the strengths of the used sources."""

    members: Indices
    differ: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """Between layers: the states of those in full, deviations of every group, friction limits (b,) N."""

    full: State
    groups: tuple[Deviation, ...]
    limit: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviationsEngine:
    """`nominals` and `checked` members in full, the others as deviations; batches of few, and machines
    without friction, go to the propagator whole."""

    name: str = "deviations"
    nominals: int = 1
    checked: int = 4
    full: PropagatorEngine = field(default_factory=PropagatorEngine)

    def run(self, job: Job) -> Iterator[Chunk]:
        """Layers in order, for all members; the last chunk tells the measured error.

        Raises EngineRefusalError for plain nuts with play, SolverError if contacts find no solution.
        """
        if job.machine.flanks:
            raise EngineRefusalError(
                "deviations: plain nuts with play are not carried, for their flanks change sides; "
                "use 'propagator' for this scenario"
            )
        if not job.machine.frictions or job.members <= FEW:
            yield from self.full.run(job)
        else:
            yield from _Batch(self, replace(job, trace_layers=())).run()


class _Batch:
    """One batch on its way through the layers."""

    def __init__(self, engine: DeviationsEngine, job: Job) -> None:
        self.engine, self.job, self.used = engine, job, job.used
        self.units = UnitsAhead(job, self.used)
        self.groups, self.means = grouped(job, engine.nominals)
        order = np.concatenate([group.members for group in self.groups])  # checked ones are of all groups
        chosen = np.linspace(0, job.members - 1, engine.checked).round().astype(int)
        self.checked = order[chosen]
        cuts = np.cumsum([0, *(group.members.size for group in self.groups)])
        self.group_of = np.searchsorted(cuts, chosen, side="right") - 1
        self.place_in = chosen - cuts[self.group_of]

    def run(self) -> Iterator[Chunk]:
        """All layers."""
        carried, chunk = self._first()
        yield chunk
        self.job.progress(1)
        nominals = self._nominals(carried.full)
        nominals.compare(1, self._of_checked(chunk, carried.groups), None)
        solve = partial(self._layer, nominals)
        yield from state.one_by_one(self.job, 2, self.job.program.layers, carried, solve)

    def _nominals(self, begin: State) -> Nominals:
        """Fitted ones where that pays and is good enough, else stepped in full."""
        job, means, full = self.job, self.means, self.engine.full
        found = fitted_nominals(full, job, means, self.checked, begin)
        if found is not None:
            return found
        chosen = replace(job, amounts=np.concatenate([means, job.amounts[self.checked]]))
        return SteppedNominals(full, chosen, len(means))

    def _first(self) -> tuple[Carried, Chunk]:
        """Layer 1, of everyone in full."""
        chosen = np.concatenate([self.means, self.job.amounts[self.checked]])
        few = len(chosen)
        every = replace(self.job, amounts=np.concatenate([chosen, self.job.amounts]))
        system = every.machine.system(np.array([1]))
        observer = base.make_observer(every.machine, system, every.probes)
        after, chunk = self.engine.full.layer(every, system, observer, 0, 1, contact_space.run_in(every))
        space = contact_space.contact_space(layer_modes(every, system, np.array([0])))
        members = {key: getattr(chunk, key)[few:] for key in base.BY_MEMBER}
        groups = [
            _apart(every, space, after.part(few + group.members), after.member(k))
            for k, group in enumerate(self.groups)
        ]
        carried = Carried(full=after.part(slice(0, few)), groups=tuple(groups), limit=space.rows.limit[0])
        return carried, replace(chunk, **members)

    def _layer(
        self,
        nominals: Nominals,
        job: Job,
        system: System,
        observer: Observer,
        index: int,
        layer: int,
        before: Carried,
    ) -> tuple[Carried, Chunk]:
        """One layer of all members from what was `before` it."""
        modes = layer_modes(job, system, np.array([index]))
        space, rows = contact_space.contact_space(modes), modes.rows
        full, nominal = nominals.layer(system, observer, index, space, before.full)
        time, breaks = nominal.paths[0].time, job.program.layer_change(layer).time
        count = observer.watched.size + 3 * observer.joint.shape[0]
        reporter = Reporter(
            observer=observer,
            index=index,
            view=base.view(observer, np.array([index]))[0, :count] @ modes.modes[0],
            bed=observer.bed @ modes.modes[0],
            full=nominal.full,
            seen=nominal.seen,
            amounts=self.means[:, self.used].T,
            space=space,
            forced=deviation_report.forced(self.units.imposed(layer, time), modes, observer, space),
            at=np.array([np.argmin(np.abs(time - t)) for t in breaks]),
        )
        fields, ends = deviation_report.empty(nominal.full, job.members), []
        for k, path in enumerate(nominal.paths):
            psi = before.groups[k].psi * (before.limit / rows.limit[0])[:, None]
            phi = limited(rows, nominal.before[:, [k]])
            psi = limited(rows, nominal.before[:, [k]] + psi) - phi
            began = Deviation(psi=psi, place=before.groups[k].place, g=psi - before.groups[k].place)
            ends.append(self._group(k, reporter, path, began, fields))
        chunk = deviation_report.filled(nominal.full, fields, job.machine.joint_travel)
        nominals.compare(layer, self._of_checked(chunk, ends), nominal)
        if layer == job.program.layers:
            chunk = _told(chunk, nominals, job.members)
        return Carried(full=full, groups=tuple(ends), limit=rows.limit[0]), chunk

    def _of_checked(self, chunk: Chunk, ends: Sequence[Deviation]) -> CheckedMembers:
        where = zip(self.group_of, self.place_in, strict=True)
        psi = [ends[k].psi[:, i] for k, i in where]
        return CheckedMembers(pose=chunk.pose[self.checked, 0], psi=np.array(psi).T, of=self.group_of)

    def _group(
        self, k: int, reporter: Reporter, path: DrivenPath, began: Deviation, fields: dict[str, Any]
    ) -> Deviation:
        """A layer of the k-th group: what is reported goes to `fields`; deviations at its end."""
        group, full, ends = self.groups[k], reporter.full, []
        for first in range(0, group.members.size, BLOCK):
            here = slice(first, first + BLOCK)
            differ, members = group.differ[:, here], group.members[here]
            places = reporter.forced.places @ differ.astype(np.float32)
            g, end = march(reporter.space, path, _part(began, here), places)
            for key in base.BY_MEMBER:
                fields[key][members] = getattr(full, key)[k]
            fields["pose"][members, 0] += reporter.pose(differ, end.g)
            for key, value in reporter.extremes(k, differ, [*g, end.g]).items():
                fields[key][members] = value[:, None]
            ends.append(end)
        return Deviation(
            **{key: np.concatenate([getattr(e, key) for e in ends], axis=1) for key in ("psi", "place", "g")}
        )


def grouped(job: Job, count: int) -> tuple[list[Group], Array]:
    """Members sorted by likeness into groups of about one size, and the amounts (k, s) of their nominals.

    Alike is what moves the contacts alike: members stand along the direction in which what their
    imperfections impose at layer 1 scatters most.
    """
    used = job.used
    amounts = job.amounts[:, used]
    away = (amounts - amounts.mean(axis=0)) * _weight(job)
    along = away @ np.linalg.svd(away, full_matrices=False)[2][0]
    groups, nominals = [], []
    for members in np.array_split(np.argsort(along, kind="stable"), count):
        nominal = _likely(job.amounts[members])
        nominals.append(nominal)
        groups.append(Group(members=members, differ=(amounts[members] - nominal[used]).T))
    return groups, np.stack(nominals)


def _likely(amounts: Array) -> Array:
    """Means (s,) of amounts (m, s), of those that are little beside their scatter none: as well in the
    middle, and what turns with the screws then leaves a nominal that is smooth in height."""
    mean = amounts.mean(axis=0)
    return np.where(np.abs(mean) < LITTLE * amounts.std(axis=0), 0.0, mean)


def _weight(job: Job) -> Array:
    """What a source of unit strength moves contacts by (r,), breakaways, root of the sum of squares."""
    system = job.machine.system(np.array([1]))
    layer = layer_modes(job, system, np.array([0]))
    motion = job.program.layer_change(1)
    imposed = job.machine.imposed(motion.path(motion.time[-1:], 0.0), job.units(job.used)[:-1])[:, 0]
    eta = imposed @ layer.imposed[0] / layer.frequency[0] ** 2
    return np.asarray(np.linalg.norm(eta @ layer.rows.place[0, :, : layer.rows.bristles], axis=1))


def _apart(job: Job, space: ContactSpace, members: State, nominal: State) -> Deviation:
    """What members deviate from a nominal by, both at rest."""
    rows = space.rows
    psi = ((members.f - nominal.f)[:, rows.order] / rows.limit[0]).T
    moved = (members.q - nominal.q) @ job.machine.contact_rows[rows.order].T / rows.breakaway
    return Deviation(psi=psi, place=moved.T, g=psi - moved.T)


def _part(whole: Deviation, here: slice) -> Deviation:
    return Deviation(psi=whole.psi[:, here], place=whole.place[:, here], g=whole.g[:, here])


def _told(chunk: Chunk, nominals: Nominals, members: int) -> Chunk:
    """The last chunk with the measured error in words and numbers."""
    height, lateral = nominals.error()
    remark = (
        f"Engine deviations: {nominals.told.format(members=members)}; they differ by "
        f"{height / UM:.4f} µm in height and {lateral / UM:.4f} µm sideways at most."
    )
    told = {"error_height": height, "error_lateral": lateral}
    return replace(chunk, remarks=(*chunk.remarks, remark), statistics=chunk.statistics | told)
