"""The questions of the commands run, compare, gauge, learn, size, improve and compensate, from Python."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from bedsim.api.given import MachineLike, loaded_from
from bedsim.errors import InputError
from bedsim.files import is_result
from bedsim.results.layers import Run
from bedsim.units import MM, UM

if TYPE_CHECKING:
    from bedsim.analysis.sizing_report import SizingReport
    from bedsim.comparison.compared import Compared, Comparison
    from bedsim.compensate.advice import Compensation
    from bedsim.improve.findings import Improvement
    from bedsim.improve.ranking import Aim
    from bedsim.learn.learned import Learned
    from bedsim.metrology.gauged import Gauged
    from bedsim.scenario.load import LoadedScenario

Progress = Callable[[int], None]


def _silent(done: int) -> None:
    pass


def with_answer(run: Run, *, ranges: bool = True) -> Run:
    """A run with what it says: the sentence on top, figures, what each cause makes, and with `ranges` what
    uncertain numbers leave open and what to measure (takes about as long as the run); it is saved with it.

    Raises InputError where the scenario inside cannot be read.
    """
    from bedsim.ranges.answered import answered
    from bedsim.results.reload import scenario_of

    return answered(run, scenario_of(run, "run"), ranges=ranges)


def simulate(given: MachineLike, engine: str | None = None, progress: Progress = _silent) -> Run:
    """Where the bed is, layer by layer; `progress` is told the number of layers done.

    Raises a BedsimError with a finished sentence for what cannot be used or computed.
    """
    from bedsim import simulation

    return simulation.simulate(loaded_from(given), engine, progress)


def compare(
    *given: MachineLike | Run,
    labels: Sequence[str] = (),
    engine: str | None = None,
    ranges: bool = False,
    compensated: bool = False,
    step_um: float | None = None,
) -> Comparison:
    """Two machines or runs or more, every one against the first; what has not been run is run.  `ranges`:
    also what uncertain numbers leave open of the differences; `compensated`: the first one once more, with
    shift and turn per layer taken off, X and Y in steps of `step_um` (the machine's own by default).

    Raises InputError where there is nothing to compare.
    """
    from bedsim.comparison import compared
    from bedsim.comparison import compensated as software
    from bedsim.comparison.difference import find_swings
    from bedsim.ranges.alone import as_they_are

    if len(given) + compensated < 2:
        raise InputError(f"compare: {len(given)} given; at least 2 machines or runs are needed.")
    if step_um is not None:
        _within("step_um", step_um, 0.0, 1000.0, "µm")  # before anything is run
    if labels and len(labels) != len(given):
        raise InputError(f"labels: {len(labels)} for {len(given)} machines: give one for each, or none.")
    items = [_compared(one, engine) for one in given]
    names = labels or _names([i.label for i in items])
    named = [
        compared.Compared(label=n, run=i.run, loaded=i.loaded) for n, i in zip(names, items, strict=True)
    ]
    step = _plane_step(step_um, named[0].loaded)
    named += [software.with_software(named[0], step)] if compensated else []
    seen = [software.seen_with_software(i.loaded, step) if i.software else as_they_are for i in named]
    swings = [find_swings(i.loaded, seen=s) for i, s in zip(named, seen, strict=True)] if ranges else ()
    return compared.compare(named, swings)


def _plane_step(step_um: float | None, loaded: LoadedScenario) -> float:
    """Step m of X and Y as given, or the machine's own."""
    from bedsim.compensate.software import plane_step

    return plane_step(loaded) if step_um is None else _within("step_um", step_um, 0.0, 1000.0, "µm") * UM


def _within(name: str, value: float, least: float, most: float, unit: str) -> float:
    if not least <= value <= most:
        raise InputError(f"{name} = {value:g}: must be {least:g} to {most:g}, in {unit}.")
    return value


def _compared(given: MachineLike | Run, engine: str | None) -> Compared:
    from bedsim.comparison import compared
    from bedsim.results.reload import scenario_of
    from bedsim.results.store import read_run

    if isinstance(given, Run):
        loaded = scenario_of(given, "run")
        return compared.Compared(label=loaded.scenario.title, run=given, loaded=loaded)
    if isinstance(given, str | Path) and "\n" not in str(given) and is_result(Path(given)):
        path = Path(given)
        run = read_run(path)
        return compared.Compared(label=path.stem, run=run, loaded=scenario_of(run, path))
    loaded = loaded_from(given)
    run = simulate(loaded, engine)
    return compared.Compared(label=loaded.path.stem, run=run, loaded=loaded)


def _names(found: Sequence[str]) -> list[str]:
    """Titles, with a number where two are alike."""
    return [n if found.count(n) == 1 else f"{n} ({k})" for k, n in enumerate(found, start=1)]


def gauge(readings: str | Path, settings: Mapping[str, object] | None = None) -> Gauged:
    """Readings of a screw, or of a push-pull, tap or cord test, as keys of a scenario with their uncertainty;
    `settings` go before the lines `# key = value` of the file.

    Raises InputError naming file, line and what is allowed.
    """
    from bedsim.metrology.gauged import gauged

    return gauged(Path(readings), {key: str(value) for key, value in (settings or {}).items()})


def learn(
    readings: str | Path | Sequence[str | Path],
    given: MachineLike,
    *,
    then: Mapping[str, object] | None = None,
    screws: str = "gauged",
    sigma_um: float = 1.0,
    progress: Progress = _silent,
) -> Learned:
    """Learn one machine from all its files of readings together; `then`: keys of a change that is asked of
    too.  A path or text is read without what earlier readings have taught.

    Raises InputError naming file, line and what is allowed.
    """
    from bedsim.learn import learned
    from bedsim.learn.lot_spread import spread_named
    from bedsim.learn.reading_files import read_files
    from bedsim.scenario.load import load_scenario

    if not sigma_um > 0:
        raise InputError(f"sigma_um = {sigma_um:g}: must be above 0, in µm.")
    files = [readings] if isinstance(readings, str | Path) else list(readings)
    loaded = load_scenario(given, taught=False) if isinstance(given, str | Path) else loaded_from(given)
    read = read_files([Path(f) for f in files], loaded, sigma_um * UM)
    return learned.learn(
        loaded,
        read.observations,
        lot=spread_named(loaded, screws),
        measured=read.measured,
        changed=loaded.with_values(then) if then else None,
        sigma=sigma_um * UM,
        count=learned.DRAWS,
        progress=progress,
    )


def size(given: MachineLike) -> SizingReport:
    """Whether the drive holds, turns and lasts, row by row.  A margin is no proof.  Raises a BedsimError."""
    from bedsim.analysis.sizing_report import size_scenario

    return size_scenario(loaded_from(given))


def improve(
    given: MachineLike,
    *,
    aim: Aim = "lateral",
    target_um: float | None = None,
    probability: float = 0.9,
    prices: Mapping[str, float] | None = None,
    with_runs: bool = True,
) -> Improvement:
    """What to change, ranked by what it gains; `target_um`: the cheapest set that reaches it is sought;
    `prices`: EUR by lever; `with_runs` False leaves the propagator's checks out.

    Raises InputError for what cannot be used.
    """
    from bedsim.improve import findings
    from bedsim.improve.prices import prices_for

    if target_um is not None and not 0.0 < target_um < 1e5:
        raise InputError(f"target_um = {target_um:g}: must be above 0 and below 100000, in µm.")
    if not 0.0 < probability < 1.0:
        raise InputError(f"probability = {probability:g}: must be above 0 and below 1, for example 0.9.")
    loaded = loaded_from(given)
    return findings.improve(
        loaded,
        aim=aim,
        target=None if target_um is None else target_um * UM,
        probability=probability,
        prices=prices_for(loaded, [f"{lever}={price}" for lever, price in (prices or {}).items()]),
        with_runs=with_runs,
    )


def compensate(
    given: MachineLike,
    *,
    step_um: float | None = None,
    homing_mm: float = 0.05,
    levelling_mm: float = 0.0,
    limit_mm: float = 0.3,
    map_within_um: float = 5.0,
) -> Compensation:
    """What software can take off the print, what is then left with X and Y in steps of `step_um` (the
    machine's own by default), how well the screws' angle must be known and whether it is worth it;
    `homing_mm`, `levelling_mm`: doubts either way, `limit_mm`: the longest correction.  `to_csv` writes its
    table.

    Raises a BedsimError with a finished sentence for what cannot be used or computed.
    """
    from bedsim.compensate import advice

    loaded = loaded_from(given)
    asked = advice.Asked(
        step=_plane_step(step_um, loaded),
        homing=_within("homing_mm", homing_mm, 0.0, 50.0, "mm") * MM,
        levelling=_within("levelling_mm", levelling_mm, 0.0, 50.0, "mm") * MM,
        limit=_within("limit_mm", limit_mm, 1e-4, 5.0, "mm") * MM,
        within=_within("map_within_um", map_within_um, 1e-3, 10000.0, "µm") * UM,
    )
    return advice.compensate(loaded, asked)
