"""Gains, side effects, doubts, sets and the cheapest set, on small machines with few levers."""

import json
import math
from dataclasses import replace

import pytest

from bedsim.analysis.metrics import lateral_peak_to_valley
from bedsim.analysis.travel import whole_travel
from bedsim.improve import checks, doubt, findings, sets
from bedsim.improve.answers import answer, standing
from bedsim.improve.findings import improve
from bedsim.improve.levers import LEVERS
from bedsim.improve.levers_software import SOFTWARE
from bedsim.improve.prices import prices_for
from bedsim.improve.ranking import Trial, best_of_each_lever, trials
from bedsim.improve.side_effects import refused, weakened
from bedsim.improve.steps import changed, every_step
from bedsim.improve.taken import table_of
from bedsim.improve.text import as_json, lines
from bedsim.simulation import simulate
from bedsim.units import DEG, UM

FEW = ("joint.kind", "guide.height_mm", "nut.tilt_nm_per_rad", "mount.kind", "screw.run_out.bow_tir_um")
SOME = tuple(lever for lever in LEVERS if lever.name in FEW)
SMALL = ("print.layers=60",)


@pytest.fixture(scope="module")
def rolling(shipped):
    return shipped("bent-rolled-rolling-joints", *SMALL)


@pytest.fixture(scope="module")
def singles(rolling):
    alone = [(s,) for s in every_step(rolling, SOME) if not s.option.by_run]
    return trials(rolling, answer(rolling), alone)


def by_words(found, words):
    return next(t for t in found if t.words == words)


# ---- answers ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("keys", "tall"), [(SMALL, False), (("print.layers=2", "print.layer_mm=1"), True)])
def test_the_answer_is_that_of_the_engine_without_friction(shipped, keys, tall):
    """Against `simulate` with the equilibrium engine, every layer solved: the first layers, and the whole
    travel, of which a part of the layers is looked at."""
    loose = ("joint.friction_coefficient=0", "mount.friction_coefficient=0", "guide.friction_n=0")
    loaded = shipped("bent-rolled-rolling-joints", *keys, *loose, "nut.drag_torque_n_mm=0")
    found = answer(loaded) if tall else answer(loaded, 60)
    layers = simulate(whole_travel(loaded) if tall else loaded, engine="equilibrium").layers
    assert len(layers.layer) == (217 if tall else 60)
    extent = layers.height_error.max(axis=0) - layers.height_error.min(axis=0)
    lateral = lateral_peak_to_valley(layers.lateral_error).max()
    assert found.lateral == pytest.approx(lateral, rel=0.03 if tall else 2e-3)
    assert found.height == pytest.approx(extent.max(), rel=2e-3)
    assert found.side_force == pytest.approx(layers.side_force.max(), rel=2e-3)
    assert found.load_angle == pytest.approx(layers.load_angle.max(), rel=2e-3)
    assert found.seat == pytest.approx(layers.mount_force.min(), rel=2e-3)
    assert found.travel == pytest.approx(layers.joint_excursion.max() / 1e-3, rel=2e-3)


def test_the_margin_against_buckling_is_euler_s(shipped):
    """A screw fixed below and free above, nut at s: pi^2 E I/(4 s^2) [Timoshenko], bearings near rigid."""
    stiff = ("screw.bearing_radial_n_per_um=1e6", "screw.bearing_tilt_nm_per_rad=1e8", "print.layers=1")
    loaded = shipped("bent-rolled-rigid", "screw.ends=fixed-free", "screw.root_diameter_mm=13", *stiff)
    euler = math.pi**2 * 206e9 * math.pi / 64 * 0.013**4 / (4 * 0.23**2)
    on_back = 105 / (105 + 190)  # statics: three corners, bed and part in the middle
    hanging = 9.80665 * ((2.8 + 0.3) * on_back + 0.4 + 0.1)
    assert standing(loaded).buckling == pytest.approx(euler / hanging, rel=0.01)


# ---- singles and what speaks against them -------------------------------------------------------------


def test_straightening_scales_the_error(singles):
    """Forcing is linear in the bends, and lateral error here is theirs: a fifth of the bow, a fifth of it."""
    assert by_words(singles, "straighten or sort all screws, bow x 0.2").gain("lateral") == pytest.approx(
        5, rel=0.05
    )


def test_a_bolted_bed_is_refused_for_its_heat(singles):
    one = by_words(singles, "bolt the bed to its carriages")
    assert "N on the guides when the bed is warm" in one.refused and one.gain("lateral") > 1
    ranked = best_of_each_lever(singles, "lateral")
    kinds = [t for t in ranked if t.steps[0].lever.name == "mount.kind"]
    assert all(t.refused for t in kinds) and ranked.index(kinds[0]) == len(ranked) - 1


def test_of_options_alike_the_one_that_holds_is_told(singles):
    """Guides at -15 mm are guides level with the mounts, which hang at -15 mm in this machine."""
    told = best_of_each_lever(singles, "lateral")
    assert "guides level with the mounts" in [t.words for t in told]
    assert sum(t.steps[0].lever.name == "guide.height_mm" for t in told) == 1


def test_each_limit_refuses_by_name(rolling):
    now = answer(rolling)
    assert refused(now, now) == ""
    for change, words in (
        ({"side_force": 250.0}, "250 N on the guides"),
        ({"travel": 1.2}, "uses up its travel"),
        ({"load_angle": 0.6}, "load angle reaches 34°"),
        ({"seat": -1.0}, "lifts off"),
    ):
        assert words in refused(now, replace(now, **change))
    worse = replace(now, height=2 * now.height)
    assert "misses its target" in refused(now, worse, height_target=1.5 * now.height)
    stood = standing(rolling)
    assert "2.0 times their buckling load" in weakened(stood, replace(stood, buckling=2.0))


def test_what_makes_no_machine_says_so(rolling):
    lift = next(s for s in every_step(rolling) if s.lever.name == "motor.gear_ratio")
    bad = replace(lift, option=replace(lift.option, changes=(replace(lift.option.changes[0], to=-1.0),)))
    found = trials(rolling, answer(rolling), [(bad,)])[0]
    assert found.after is None and "no such machine" in found.refused and found.gain("lateral") == 0.0


# ---- doubts -------------------------------------------------------------------------------------------


def test_what_removes_a_cause_holds_and_what_cancels_has_a_tolerance(rolling, singles):
    machines = doubt.drawn_machines(rolling, 5)
    straight = by_words(singles, "straighten or sort all screws, bow x 0.2")
    level = by_words(singles, "guides level with the mounts")
    held = doubt.holds(rolling, straight.steps, machines, "lateral")
    hoped = doubt.holds(rolling, level.steps, machines, "lateral")
    assert held.low > 4.5 and held.harms == 0.0
    assert hoped.high / hoped.low > held.high / held.low
    assert doubt.tolerance(rolling, straight, "lateral") is None
    off = doubt.tolerance(rolling, level, "lateral")
    assert off is not None and off.unit == "mm" and off.gain == pytest.approx(level.gain("lateral") ** 0.5)
    back = changed(rolling, level.steps)
    keys = {f"corner.{c.name}.guide.height_mm": c.guide.height_mm - off.off for c in back.scenario.corner}
    other = {k: v + 2 * off.off for k, v in keys.items()}
    left = min(level.before.lateral / answer(back.with_values(k)).lateral for k in (keys, other))
    assert left == pytest.approx(off.gain, rel=0.1)


def test_software_is_a_lever_that_cancels(shipped):
    """5 um steps are left of it in phase; over the doubts the table of the likely machine leaves more, and
    so does a screw that stands elsewhere; below two steps it is refused."""
    loaded = shipped("bent-rolled-rigid", *SMALL)
    now, (step,) = answer(loaded), every_step(loaded, SOFTWARE)
    one = trials(loaded, now, [(step,)])[0]
    assert step.cancels and 4 * UM < one.after.lateral < 8 * UM and one.after.height == now.height
    held = doubt.holds(loaded, one.steps, doubt.drawn_machines(loaded, 4), "lateral")
    assert 1.0 < held.low < held.high < one.gain("lateral")
    off = doubt.tolerance(loaded, one, "lateral")
    table = table_of(loaded, one.steps)
    assert off.unit == "°" and off.gain == pytest.approx(one.gain("lateral") ** 0.5)
    worst = max(table.late(side * off.off * DEG) for side in (1, -1))
    assert now.lateral / worst == pytest.approx(off.gain, rel=0.12)
    stiff = shipped("ground-stiff", *SMALL)
    assert "below 2 steps" in trials(stiff, answer(stiff), [(step,)])[0].refused


# ---- sets ---------------------------------------------------------------------------------------------


def test_the_beam_finds_the_best_pair_of_all(rolling, singles):
    """Against every pair tried one by one."""
    now = answer(rolling)
    pool = sets.pool_of(singles, "lateral")
    found = sets.beam(rolling, now, singles, "lateral")
    every = trials(
        rolling, now, [(a, b) for k, a in enumerate(pool) for b in pool[:k] if sets.go_together((a, b))]
    )
    best = max((t for t in every if not t.refused), key=lambda t: t.gain("lateral"))
    beamed = max((t for t in found if len(t.steps) == 2), key=lambda t: t.gain("lateral"))
    assert beamed.gain("lateral") == pytest.approx(best.gain("lateral"), rel=1e-9)


def test_steps_on_the_same_key_do_not_go_together(rolling):
    steps = {s.option.words: s for s in every_step(rolling)}
    guides = [s for w, s in steps.items() if w.startswith("guides at ")]
    assert not sets.go_together(guides[:2])
    assert not sets.go_together(
        [steps["guides level with the mounts"], steps["mounts level with the guides"]]
    )
    assert sets.go_together([guides[0], steps["mounts at -25 mm"]])


def test_the_cheapest_set_is_the_first_in_price_that_reaches(rolling, singles):
    """Against every set tried on every draw."""
    machines = doubt.drawn_machines(rolling, 4)
    options = [t.steps[0] for t in best_of_each_lever(singles, "lateral") if not t.refused][:4]
    target, wanted = 0.5 * answer(rolling).lateral, 0.75
    found = sets.cheapest(rolling, machines, options, "lateral", target, wanted, {})
    told = []
    for cost, steps in sets.by_price(options, {}):
        reached = [answer(changed(rolling, steps, m.draw)).lateral <= target for m in machines]
        told.append((cost, sum(reached) / len(machines)))
    assert [c for c, _ in told] == sorted(c for c, _ in told)
    first = next((c, s) for c, s in told if s >= wanted)
    assert (found.cost, found.share) == first


def test_a_target_that_is_met_costs_nothing_and_one_out_of_reach_says_so(rolling, singles):
    machines = doubt.drawn_machines(rolling, 3)
    options = [singles[0].steps[0]]
    assert sets.cheapest(rolling, machines, options, "lateral", 1.0, 0.9, {}).steps == ()
    never = sets.cheapest(rolling, machines, options, "lateral", 1e-12, 0.9, {})
    assert never.steps is None and never.tried == 1


def test_a_further_step_must_pay(singles):
    alone = [t for t in singles if not t.refused]
    best = max(alone, key=lambda t: t.gain("lateral"))
    hardly = Trial(steps=(*best.steps, alone[0].steps[0]), before=best.before, after=best.after)
    assert sets.worth_having([hardly], singles, "lateral") is best


# ---- whole --------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def whole(rolling):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(findings, "SET_DRAWS", 6)
        return improve(rolling, target=3.0 * UM, with_runs=False, levers=SOME)


def test_the_whole_answer_in_words(whole):
    text = "\n".join(lines(whole))
    for words in (
        "What gains most, each change alone:",
        "What is unusual here and costs you:",
        "Where the sideways error comes from",
        "Target" if whole.cheapest.steps is None else "Cheapest: ",
        "works by cancelling",
        "refused:",
        "Caution",
    ):
        assert words in text, words
    assert "nan" not in text


def test_the_whole_answer_as_json_has_the_same_numbers(whole):
    found = json.loads(json.dumps(as_json(whole), allow_nan=False))
    assert found["error_m"] == whole.now.lateral
    assert sum(p["m"] for p in found["split"]["parts"]) == pytest.approx(found["split"]["whole_m"])
    assert found["split"]["whole_m"] == pytest.approx(whole.now.lateral, rel=1e-9)
    assert [g["gain"] for g in found["gains"]] == [t.trial.gain("lateral") for t in whole.gains]


def test_the_picture(whole, tmp_path):
    from bedsim.views.improve_plots import draw_improvement

    assert draw_improvement(whole, tmp_path / "a.png").stat().st_size > 20_000


def test_height_is_an_aim_too(rolling, tmp_path):
    """Its picture has gains alone: the split is of the sideways error."""
    from bedsim.views.improve_plots import draw_improvement

    axial = tuple(lever for lever in LEVERS if lever.name == "joint.rotation_nm_per_rad")
    found = improve(rolling, aim="height", with_runs=False, levers=axial)
    text = "\n".join(lines(found))
    assert "in height" in text and "adds" not in text and "anti-rotation parts" in text
    assert draw_improvement(found, tmp_path / "h.png").is_file()


@pytest.mark.long
def test_told_gains_are_those_of_runs_with_friction(shipped):
    """The propagator on two levers, with friction and vibration (nine in ten within 10 %: by_hand.py)."""
    loaded = shipped("bent-rolled-rolling-joints", "print.layers=10")
    now = checks.run(loaded)
    steps = {s.option.words: s for s in every_step(loaded)}
    words = ("straighten or sort all screws, bow x 0.2", "guides level with the mounts")
    for one in (checks.check(loaded, now, [steps[w]], "lateral") for w in words):
        assert one.found == pytest.approx(one.told, rel=0.1)


def test_prices_are_read_and_refused(shipped):
    from bedsim.errors import InputError

    own = shipped("bent-rolled-rigid", "prices.ball_screw=120")
    assert prices_for(own, ["joint.kind=25"]) == {
        "screw.kind": 120.0,
        "screw.diameter_mm": 120.0,
        "screw.lead_mm": 120.0,
        "screw.travel": 120.0,
        "joint.kind": 25.0,
    }
    for text, words in (
        ("joint.kind", "is written LEVER=EUR"),
        ("joint.knd=3", "Did you mean joint.kind?"),
        ("joint.kind=-1", "must be a number of at least 0"),
        ("joint.kind=much", "must be a number"),
    ):
        with pytest.raises(InputError, match=words.replace("?", r"\?")):
            prices_for(own, [text])
