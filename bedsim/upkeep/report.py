"""`bedsim size --upkeep`: the calendar of jobs, and wear, grease, noise and the choice behind it."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

from bedsim import registry
from bedsim.analysis.cautions import cautions
from bedsim.analysis.figures import metric_values
from bedsim.analysis.move_speeds import AROUND, bench_of
from bedsim.analysis.requirements import Requirement
from bedsim.analysis.sizing_gather import gather
from bedsim.analysis.sizing_report import SizingReport, size_scenario
from bedsim.errors import BedsimError
from bedsim.model.joint_kind import joint_kind
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.sections import complete_sections, thicknesses_mm
from bedsim.simulation import make_job, simulate
from bedsim.sizing import loads
from bedsim.sizing.numbers import CornerNumbers, MachineNumbers
from bedsim.sizing.rows_holding import AT_REST
from bedsim.units import DEG, MM
from bedsim.upkeep import grease, noise, wear
from bedsim.upkeep.calendar import Chore, Facts, chores
from bedsim.upkeep.choice import Candidate, MachineChoice, choose
from bedsim.upkeep.grease import ThreadState
from bedsim.upkeep.noise import Meeting
from bedsim.upkeep.use import Use, upkeep_of, use_of
from bedsim.upkeep.wear import BallContact, PlainWear, Reversal

ERROR_LAYERS = 400
"""Of the run that a choice tells errors from, at most."""
PUSH = "column_push"


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseAnswer:
    """Rates at the speed as set: full steps/s and balls/s (None without balls); `loudest`: speeds m/s of the
    band in which steppers are loudest; where rates meet modes."""

    speed: float
    steps: float
    microsteps: float
    loudest: tuple[float, float]
    motors: tuple[Meeting, ...]
    balls: float | None
    ball_diameter: float | None
    rolling: tuple[Meeting, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class UpkeepReport:
    """The whole answer, SI and months; `new` and `worn` None where there is no play to run with."""

    title: str
    start: datetime.date | None
    use: Use
    chores: tuple[Chore, ...]
    plain: PlainWear | None
    new: Reversal | None
    worn: Reversal | None
    hop: float
    ball_life: tuple[str, float] | None
    guide_life: float | None
    contacts: tuple[BallContact, ...]
    regrease: tuple[float, float] | None
    threads: tuple[ThreadState, ...]
    held: tuple[bool, ...]
    noise: NoiseAnswer | None
    choice: MachineChoice | None
    missing: tuple[str, ...]
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Known:
    """One machine with what is worked out of it once."""

    loaded: LoadedScenario
    machine: MachineNumbers
    use: Use
    facts: Facts
    chores: tuple[Chore, ...]


def upkeep_scenario(
    loaded: LoadedScenario,
    others: Sequence[LoadedScenario] = (),
    requirements: Sequence[Requirement] = (),
) -> UpkeepReport:
    """Work out the upkeep of a scenario, and the choice between it and `others`.

    Raises ModelError when mounts stand on one line, InputError for numbers that cannot be used; what a run
    refuses is told as missing.
    """
    known = _known(loaded)
    machine, use, keys = known.machine, known.use, upkeep_of(loaded)
    plain = known.facts.plain
    new, worn, hop, refused = _reversals(loaded, machine, plain)
    heaviest = max(machine.corners, key=lambda c: max(c.hanging))
    threads = (
        () if heaviest.screw.is_ball else grease.thread_states(heaviest, machine.duty, _material(loaded))
    )
    return UpkeepReport(
        title=loaded.scenario.title,
        start=None if keys.first_date is None else datetime.date.fromisoformat(keys.first_date),
        use=use,
        chores=known.chores,
        plain=plain,
        new=new,
        worn=worn,
        hop=hop,
        ball_life=wear.ball_months(machine, use),
        guide_life=known.facts.guide_life,
        contacts=tuple(wear.ball_contacts(machine)),
        regrease=grease.regrease_months(use, machine.duty.speed) if known.facts.has_balls else None,
        threads=tuple(threads),
        held=tuple(grease.holds(heaviest, state) for state in threads),
        noise=_noise(loaded, machine),
        choice=_choice(known, others, requirements) if others else None,
        missing=(*_missing(loaded, known), *refused),
        assumptions=_assumptions(loaded, known),
        cautions=(
            *cautions(loaded.scenario),
            "Intervals are rules of makers and of the trade, wear is known to a factor of ten: look, and let "
            "what you find shorten them.",
        ),
    )


def _known(loaded: LoadedScenario) -> _Known:
    machine = gather(loaded)
    use = use_of(loaded, machine.duty)
    ball = wear.ball_months(machine, use)
    rating = upkeep_of(loaded).guide_load_rating_n
    facts = Facts(
        scenario=loaded.scenario,
        machine=machine,
        use=use,
        plain=wear.plain_wear(machine, use),
        ball_life=None if ball is None else ball[1],
        guide_life=None if rating is None else wear.guide_months(rating, _guide_push(machine), use),
    )
    return _Known(loaded=loaded, machine=machine, use=use, facts=facts, chores=chores(facts))


def _guide_push(machine: MachineNumbers) -> float:
    """Largest side force N of a screw on its guide, a newton at least."""
    return max(1.0, *(wear.side_push(c) for c in machine.corners))


def _material(loaded: LoadedScenario) -> str:
    return "bronze" if loaded.scenario.sizing is None else loaded.scenario.sizing.plain_nut_material


def _reversals(
    loaded: LoadedScenario, machine: MachineNumbers, plain: PlainWear | None
) -> tuple[Reversal | None, Reversal | None, float, list[str]]:
    """Runs as new and with the play at which a nut is changed, and why there are none."""
    keys, job, motion = upkeep_of(loaded), loaded.scenario.print, loaded.scenario.motion
    given = max(section.z_hop_mm for section in complete_sections(job, motion))
    hop = (given or (keys.hop_mm if keys.hops_per_layer else min(thicknesses_mm(job, motion)))) * MM
    if all(c.screw.is_ball for c in machine.corners):
        return None, None, hop, []
    play = machine.duty.wear_clearance if plain is None else plain.limit
    try:
        found = [wear.reversal(loaded, hop, wear.worn_clearance(machine, p)) for p in (0.0, play)]
    except BedsimError as fault:
        return None, None, hop, [f"what play does to the print: {fault}"]
    return found[0], found[1], hop, []


def _noise(loaded: LoadedScenario, machine: MachineNumbers) -> NoiseAnswer | None:
    """None where `bedsim run` refuses the machine."""
    try:
        bench = bench_of(make_job(loaded))
        motors = tuple(noise.singing(bench, AROUND * machine.duty.speed))
    except BedsimError:
        return None
    keys, speed = upkeep_of(loaded), machine.duty.speed
    corner = max(machine.corners, key=lambda c: noise.step_rate(speed, c.screw.shaft.lead, c.motor))
    low, high = (noise.speed_at_rate(rate, corner.screw.shaft.lead, corner.motor) for rate in noise.LOUDEST)
    rolls = next((c for c in machine.corners if c.screw.is_ball), None)
    angle = keys.contact_angle_deg * DEG
    ball = None if rolls is None else _ball(rolls, keys.ball_diameter_mm)
    return NoiseAnswer(
        speed=speed,
        steps=noise.step_rate(speed, corner.screw.shaft.lead, corner.motor),
        microsteps=noise.step_rate(speed, corner.screw.shaft.lead, corner.motor) * corner.motor.microsteps,
        loudest=(low, high),
        motors=motors,
        balls=None if rolls is None or ball is None else _passing(rolls, speed, ball, angle),
        ball_diameter=ball,
        rolling=()
        if rolls is None or ball is None
        else tuple(noise.rolling_meetings(bench, rolls, ball, angle)),
    )


def _ball(corner: CornerNumbers, given_mm: float | None) -> float:
    screw = corner.screw
    return noise.ball_diameter(screw.shaft.lead, screw.shaft.diameter) if given_mm is None else given_mm * MM


def _passing(corner: CornerNumbers, speed: float, ball: float, angle: float) -> float:
    screw = corner.screw
    return noise.ball_passage(
        speed / screw.shaft.lead,
        ball_circle=screw.contact_diameter,
        ball=ball,
        lead=screw.shaft.lead,
        contact_angle=angle,
    )


def _choice(
    known: _Known, others: Sequence[LoadedScenario], requirements: Sequence[Requirement]
) -> MachineChoice:
    machines = [known, *(_known(other) for other in others)]
    names = _names([m.loaded for m in machines])
    answers = [_answers(name, m) for name, m in zip(names, machines, strict=True)]
    first = known.loaded
    sizing = first.tree.get("sizing")
    asked = isinstance(sizing, dict) and "life_h" in sizing
    years = known.use.months_of_hours(known.machine.duty.life_hours) / 12.0 if asked else None
    return choose(answers, upkeep_of(first).weights, [*_targets(first), *requirements], years)


def _names(loaded: Sequence[LoadedScenario]) -> list[str]:
    """Names of files, numbered where two are alike."""
    stems = [item.path.stem for item in loaded]
    return [s if stems.count(s) == 1 else f"{s} ({k})" for k, s in enumerate(stems, start=1)]


def _targets(loaded: LoadedScenario) -> list[Requirement]:
    target = loaded.scenario.target
    given = {"lateral_pv_um": target.lateral_pv_um, "height_pv_um": target.height_pv_um}
    return [
        Requirement(name=name, comparison="<=", limit=limit)
        for name, limit in given.items()
        if limit is not None
    ]


def _answers(name: str, known: _Known) -> Candidate:
    loaded, machine = known.loaded, known.machine
    sized = size_scenario(loaded)
    figures, why = _figures(loaded)
    life, lacking = _life(known)
    balls = [c.screw for c in machine.corners if c.screw.is_ball]
    price, currency = _price(sized, machine)
    return Candidate(
        name=name,
        kind=_kind(loaded),
        figures=figures,
        hold=_least_margin(sized, AT_REST),
        back_driving=min(c.screw.friction[0] / loads.locking_friction(c.screw) for c in machine.corners),
        load=_least_margin(sized, PUSH),
        life=life,
        upkeep=sum(c.a_year for c in known.chores if c.by_hand and c.every is not None),
        rolling=max((noise.rolling_speed(s, machine.duty.speed) for s in balls), default=None),
        price=price,
        currency=currency,
        why=(*why, *lacking),
    )


def _figures(loaded: LoadedScenario) -> tuple[dict[str, float], list[str]]:
    """Figures of the run, the first layers of a long one; nothing where it is refused, and why."""
    leads = [c.screw.lead_mm * MM for c in loaded.scenario.corner]
    layers = loaded.scenario.print.layers
    high = thicknesses_mm(loaded.scenario.print, loaded.scenario.motion)[:ERROR_LAYERS]
    heights = " to ".join(f"{h:g}" for h in dict.fromkeys((min(high), max(high))))
    why = [f"errors over {len(high)} layers of {heights} mm"]
    shorter = loaded.with_values({"print.layers": ERROR_LAYERS}) if layers > ERROR_LAYERS else loaded
    try:
        return metric_values(simulate(shorter).layers, leads), why
    except BedsimError as fault:
        return {}, [f"no errors: {fault}"]


def _life(known: _Known) -> tuple[float | None, list[str]]:
    """Years of the part that lasts least."""
    facts = known.facts
    found = [facts.ball_life, facts.plain.change[0] if facts.plain else None]
    asked = [facts.has_balls, facts.has_plain]
    keys = ("sizing.dynamic_load_rating_n", "sizing.plain_nut_length_mm")
    lacking = [k for k, m, a in zip(keys, found, asked, strict=True) if a and m is None]
    if lacking:
        return None, [f"life not known: {', '.join(lacking)} not given"]
    return min(m for m in found if m is not None) / 12.0, []


def _least_margin(sized: SizingReport, key: str) -> float:
    return min(c.margin for c in sized.checks if c.key == key and c.margin is not None)


def _price(sized: SizingReport, machine: MachineNumbers) -> tuple[float | None, str]:
    """What `bedsim size` says that the screws cost."""
    is_ball = all(c.screw.is_ball for c in machine.corners)
    row = next((r for r in sized.decision if r.name.startswith("cost of")), None)
    if row is None:
        return None, ""
    return (row.ball if is_ball else row.plain), row.unit


def _kind(loaded: LoadedScenario) -> str:
    kinds = [registry.screw_kind(name) for name in {c.screw.kind for c in loaded.scenario.corner}]
    material = {
        "bronze": "bronze nut",
        "pom": "acetal nut",
        "pom_ptfe": "acetal-PTFE nut",
        "pa66": "PA 66 nut",
    }
    named = [k.words if k.rolls else f"{k.words}, {material[_material(loaded)]}" for k in kinds]
    words = " and ".join(sorted(named))
    return f"{words}, one belt" if loaded.scenario.drive.topology == "belt" else words


def _missing(loaded: LoadedScenario, known: _Known) -> list[str]:
    facts, keys, lines = known.facts, upkeep_of(loaded), []
    if facts.has_plain and facts.plain is None:
        lines.append("wear of the plain nuts: their length (sizing.plain_nut_length_mm)")
    if facts.has_balls and facts.ball_life is None:
        lines.append("life of the ball screws: the maker's rating (sizing.dynamic_load_rating_n)")
    rails = any(registry.guide_kind(c.guide.kind).rated for c in loaded.scenario.corner)
    if rails and keys.guide_load_rating_n is None:
        lines.append("life of the rails: the maker's rating (upkeep.guide_load_rating_n)")
    rolling = any(joint_kind(c.joint.kind).balls for c in loaded.scenario.corner)
    if rolling and not wear.ball_contacts(known.machine):
        lines.append("pressure under the joints' balls: the joint's parts (sizing.joint_part.ball)")
    return lines


def _assumptions(loaded: LoadedScenario, known: _Known) -> tuple[str, ...]:
    keys, use = upkeep_of(loaded), known.use
    given = set(loaded.tree.get("upkeep", {}))
    words = {
        "prints_a_month": f"{use.prints:g} prints a month",
        "print_height_mm": f"prints as high as the scenario's, {use.layers:.0f} layers",
        "hops_per_layer": "no hops while a layer is printed: with them a nut goes many times as far",
    } | ({"dirt": "nuts covered and clean"} if known.facts.has_plain else {})
    told = "; ".join(text for key, text in words.items() if key not in given)
    lines = [f"Not given, so taken: {told}."] if told else []
    if keys.first_date is None:
        lines.append("No upkeep.first_date: months count from the day of the first print.")
    lines.append(
        f"A print takes {use.hours:.3g} h, {use.strokes:.0f} strokes and {use.travel:.3g} m of every nut "
        "(down and back up); homing and levelling are not counted."
    )
    if known.facts.has_balls:
        lines.append("No life is taken off ball screws and rails for short strokes, grit and rust.")
    if known.facts.has_plain:
        lines.append(
            "A new nut's first turn carries about a third of the load (a maker's sheet) and wears faster, "
            "until the turns share; a rough or soft screw multiplies wear, by how much was not found."
        )
    lines.append(
        "Noise: no level in dB is promised; frequencies are derived, modes with contacts stuck in the first "
        "layer. A beam, panel or table may sing besides."
    )
    return tuple(lines)
