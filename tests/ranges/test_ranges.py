"""Answers as ranges: fast machine against engine, rule of combination, keys that count."""

import contextlib
import math
import types

import numpy as np
import pytest

from bedsim.analysis.linear_machine import linear_chunk, shortened
from bedsim.cli import run as command
from bedsim.cli.common import progress_of
from bedsim.cli.main import main
from bedsim.engines.equilibrium import EquilibriumEngine
from bedsim.ranges import alone, swings
from bedsim.ranges.coarse_friction import coarse_chunk, coarse_chunks, likeness
from bedsim.scenario.ranges import Range
from bedsim.simulation import make_job, simulate


def engine_pose(job):
    return np.concatenate([chunk.pose[0] for chunk in EquilibriumEngine().run(job)])


@pytest.mark.parametrize("ends", ["fixed-free", "fixed-fixed"])
def test_few_solved_heights_stand_for_all_layers(shipped, frictionless, ends):
    """A print over nearly the whole screw: every layer within 1e-3 of the engine's own solution."""
    loaded = shipped(
        "bent-rolled-rigid", *frictionless, f"screw.ends={ends}", "print.layers=600", "print.layer_mm=0.35"
    )
    job = make_job(loaded)
    exact = engine_pose(job)
    fast = linear_chunk(job).pose[0]
    scale = np.ptp(exact, axis=0)[:2].min()
    assert np.abs(fast - exact)[:, :2].max() < 1e-3 * scale
    assert np.abs(fast - exact)[:, 2].max() < 1e-9


@pytest.mark.parametrize("name", ["bent-rolled-rolling-joints", "bent-rolled-rigid"])
def test_coarse_steps_keep_the_answer_with_friction(shipped, name):
    """Six times fewer steps: lateral path within 2 % of the engine's, side force too."""
    job = shortened(make_job(shipped(name)), 30)
    (exact,) = EquilibriumEngine().run(job)
    coarse = coarse_chunk(job)
    lateral = exact.pose[0, :, :2] - exact.pose[0, 0, :2]
    assert coarse.pose[0, :, :2] - coarse.pose[0, 0, :2] == pytest.approx(
        lateral, abs=0.02 * np.abs(lateral).max()
    )
    assert coarse.side_force.max() == pytest.approx(exact.side_force.max(), rel=0.02)


def test_machines_side_by_side_are_what_each_is_alone(shipped):
    """Three frictions at once; a machine with other contacts is not alike."""
    loaded = shipped("bent-rolled-rolling-joints")
    changes = [{}, {"joint.friction_coefficient": 2e-3}, {"guide.friction_n": 9.0, "joint.breakaway_um": 6.0}]
    jobs = [shortened(make_job(loaded.with_values(values)), 8) for values in changes]
    assert all(likeness(job) == likeness(jobs[0]) for job in jobs)
    for job, found in zip(jobs, coarse_chunks(jobs), strict=True):
        np.testing.assert_allclose(found.pose, coarse_chunk(job).pose, atol=1e-13)
    bolted = shortened(make_job(loaded.with_values({"guide.friction_n": 0.0})), 8)
    assert likeness(bolted) != likeness(jobs[0])


def test_keys_left_alone_without_friction_do_nothing_there(shipped):
    span = "={low = 0.01, likely = 0.02, high = 0.03}"
    damped = [f"damping.{part}_ratio{span}" for part in ("motor", "screw", "guide", "joint", "mount")]
    machines = [
        shipped("bent-rolled-rolling-joints", "print.layers=12", *damped),
        shipped("four-screws", "print.layers=4", f"damping.bed_ratio{span}"),
    ]
    named = set()
    for loaded in machines:
        middle = alone.linear_values(loaded)
        idle = [k for k in loaded.ranges if k.key.rsplit(".", 1)[-1] in alone.NOTHING_WITHOUT_FRICTION]
        named |= {k.key.rsplit(".", 1)[-1] for k in idle}
        for key in idle:
            for value in (key.low, key.high):
                assert alone.linear_values(loaded.with_values({key.key: value})) == pytest.approx(
                    middle, rel=1e-9, abs=1e-15, nan_ok=True
                )
    assert named == set(alone.NOTHING_WITHOUT_FRICTION)


def swing(low, high, key="k"):
    known = Range(key=key, low=0, likely=1, high=2, basis="default", source="", unit="")
    zero = dict.fromkeys(alone.RANGED, 0.0)
    return alone.Swing(key=known, at_low=zero | {"lateral_pv": low}, at_high=zero | {"lateral_pv": high})


def test_relative_contributions_of_a_product_join_as_root_sum_square():
    """Source: JCGM 100:2008 (GUM), 5.1.6, eq. (12): 3 % and 4 % make 5 % (arithmetic of the formula)."""
    likely = dict.fromkeys(alone.RANGED, 1.0)
    low, high = swings._combined(likely, [swing(-0.03, 0.03), swing(0.04, -0.04)])
    assert high["lateral_pv"] == pytest.approx(1.05, abs=0.001)
    assert low["lateral_pv"] == pytest.approx(0.95, abs=0.002)
    assert (low["height_pv"], high["height_pv"]) == (1.0, 1.0)


def test_one_sided_swings_stay_on_their_side():
    """A key that only raises the answer does not lower it, whichever end does it."""
    likely = dict.fromkeys(alone.RANGED, 2.0)
    low, high = swings._combined(likely, [swing(1.0, 2.0)])
    assert (low["lateral_pv"], high["lateral_pv"]) == pytest.approx((2.0, 4.0))
    assert swings._combined(likely, [swing(-1.0, -5.0)])[0]["lateral_pv"] == pytest.approx(
        2.0 * swings.SMALLEST_FACTOR
    )


def known(loaded, keep):
    """The scenario with every uncertain key fixed but those named."""
    fixed = {r.key: r.likely for r in loaded.ranges if r.key not in keep}
    return loaded.with_values(fixed)


def test_an_answer_near_a_zero_of_its_own_rises_by_differences():
    """5 nm that one key alone makes 1.2 um, and another 1.1 times: not 240 times 1.1 each way."""
    likely = dict.fromkeys(alone.RANGED, 0.005)
    _, high = swings._combined(likely, [swing(0.0, 1.2), swing(0.0, 0.0005)])
    assert high["lateral_pv"] == pytest.approx(0.005 + math.hypot(1.2, 0.0005), rel=1e-12)


def test_a_run_out_known_to_a_factor_leaves_the_answer_open_by_that_factor(shipped, frictionless):
    """The frictionless answer is proportional to run-out: three screws alike, 50 to 200 of 100 um."""
    bow = "{low=50, likely=100, high=200}"
    screws = [
        f"corner.{c}.screw.run_out.bow_tir_um={v}"
        for c, v in (("back", bow), ("front left", 0), ("front right", 0))
    ]
    key = "corner.back.screw.run_out.bow_tir_um"
    loaded = known(shipped("bent-rolled-rigid", *frictionless, *screws, "print.part_mass_kg=0"), {key})
    run = simulate(loaded, engine="equilibrium")
    found = swings.find_ranges(run, loaded, swings.vary(loaded)).ranges
    answer = alone.linear_values(loaded)["lateral_pv"]
    assert found.low["lateral_pv"] == pytest.approx(answer / 2, rel=1e-3)
    assert found.high["lateral_pv"] == pytest.approx(answer * 2, rel=1e-3)
    assert [i.key for i in found.influences] == [key]
    assert found.influences[0].swing == pytest.approx(1.5 * answer, rel=1e-3)


def test_keys_are_ordered_by_what_they_move(shipped):
    """All keys of a shipped scenario: largest swing first, none twice, the method told."""
    loaded = shipped("bent-rolled-rigid", "print.layers=30")
    told = []
    found = swings.find_ranges(
        simulate(loaded, engine="equilibrium"), loaded, swings.vary(loaded, told.append)
    )
    sizes = [i.swing for i in found.ranges.influences]
    assert sizes == sorted(sizes, reverse=True)
    assert len({i.key for i in found.ranges.influences}) == len(loaded.ranges)
    assert found.ranges.low["lateral_pv"] < found.ranges.high["lateral_pv"]
    assert told == sorted(told)
    assert told[-1] <= swings.steps_needed(loaded)
    assert "root-sum-square" in found.method
    assert not found.left_out


def test_friction_that_matters_is_taken_key_by_key(shipped):
    """Only friction uncertain: each of its keys alone, with a swing that the frictionless machine has not."""
    base = shipped("bent-rolled-rolling-joints", "print.layers=24")
    keys = {"joint.friction_coefficient", "joint.breakaway_um"}
    loaded = known(base, keys)
    found = swings.find_ranges(simulate(loaded, engine="equilibrium"), loaded, swings.vary(loaded))
    assert {i.key for i in found.ranges.influences} == keys
    assert all(i.swing > 1e-9 for i in found.ranges.influences)
    assert "each alone with friction" in found.method


def test_a_value_the_machine_cannot_take_is_told(shipped, monkeypatch):
    """A key whose end cannot be computed is left out by name, the rest goes on."""
    loaded = known(shipped("bent-rolled-rigid", "print.layers=12"), {"bed.mass_kg", "frame.radial_n_per_um"})
    run = simulate(loaded, engine="equilibrium")
    usual = type(loaded).with_values

    def picky(self, values):
        if "bed.mass_kg" in values:
            raise swings.BedsimError("too heavy")
        return usual(self, values)

    monkeypatch.setattr(type(loaded), "with_values", picky)
    found = swings.find_ranges(run, loaded, swings.vary(loaded))
    assert found.left_out == (("bed.mass_kg", "too heavy"),)
    assert [i.key for i in found.ranges.influences] == ["frame.radial_n_per_um"]


def test_a_force_that_can_change_its_sign_has_the_smaller_end_first_and_may_cross_zero():
    """Differences join, 3 N and 4 N make 5 N: a mount may be loaded at one end and lift off at the other."""
    zero = dict.fromkeys(alone.RANGED, 0.0)
    both = [
        alone.Swing(key=swing(0, 0).key, at_low=zero | {"mount_force": -s}, at_high=zero | {"mount_force": s})
        for s in (3.0, 4.0)
    ]
    for likely in (-9.0, 1.0, 0.0):
        low, high = swings._combined(dict.fromkeys(alone.RANGED, likely), both)
        assert (low["mount_force"], high["mount_force"]) == pytest.approx((likely - 5.0, likely + 5.0))


def test_nothing_to_vary_shows_no_bar(shipped, tmp_path, monkeypatch):
    """On a terminal every total above 0 makes a bar."""
    totals = {}

    @contextlib.contextmanager
    def noted(total, what):
        totals[what] = total
        yield lambda done: None

    monkeypatch.setattr(command, "progress_of", noted)
    file = str(shipped("bent-rolled-rigid").path)
    usual = ["run", file, "--engine", "equilibrium", "--no-pictures", "--set", "print.layers=6"]
    assert main([*usual, "--no-ranges", "--output", str(tmp_path / "r.h5")]) == 0
    assert {what for what, total in totals.items() if total} == {"layers"}
    monkeypatch.setattr("sys.stderr", types.SimpleNamespace(isatty=lambda: True))
    with progress_of(0, "nothing") as progress:  # a bar would want more of a terminal
        progress(1)


def test_run_tells_ranges_shares_and_how(shipped, tmp_path, capsys):
    """`bedsim run` gives a range, the keys to measure and the shares; --no-ranges gives one number."""
    file = str(shipped("bent-rolled-rigid").path)
    usual = ["run", file, "--engine", "equilibrium", "--no-pictures", "--set", "print.layers=24"]
    usual += ["--output", str(tmp_path / "r.h5")]
    assert main(usual) == 0
    out = capsys.readouterr().out
    assert " to " in out.splitlines()[0]
    for words in ("What to measure next", "What each cause alone contributes", "run-out, back", "Ranges: "):
        assert words in out
    assert main([*usual, "--no-ranges"]) == 0
    short = capsys.readouterr().out
    assert "What to measure next" not in short
    assert "What each cause alone contributes" in short
    assert not math.isnan(float(short.split("strays ")[1].split()[0]))


def test_keys_that_mostly_move_nothing_are_looked_at_together(shipped):
    """Where layers are whole fours of full steps two machines tell of all what each alone tells; where they
    are not, and place errors act, each is varied."""
    for layer_mm, still in ((0.1, True), (0.11, False)):
        loaded = shipped("bent-rolled-rolling-joints", "print.layers=120", f"print.layer_mm={layer_mm}")
        keys = [key for key in loaded.ranges if key.key.endswith(alone.SELDOM)]
        likely = alone.likely_machine(loaded)
        assert likely.few.size < 120
        together = alone.seldom_moving(loaded, keys, likely)
        for found, one in zip(together, alone.each_alone(loaded, keys, likely), strict=True):
            for name in ("lateral_pv", "height_pv", "load_angle"):
                assert found.swing.size(name) == pytest.approx(one.swing.size(name), abs=1e-9)
        assert all(found.half is None for found in together) == still
    assert max(found.swing.size("height_pv") for found in together) > 1e-7
