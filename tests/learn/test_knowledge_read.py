"""Later commands read what was learnt: machines in pairs, drawn machines of a sweep, what is told."""

import json

import numpy as np
import pytest
from click.testing import CliRunner
from learnt import told_scenario

from bedsim.cli.size import command as size
from bedsim.comparison.difference import find_draws
from bedsim.learn.keep import key_values
from bedsim.ranges.known import drawn_values
from bedsim.scenario.load import load_scenario
from bedsim.sweep.doubt_work import left
from bedsim.sweep.machine_tasks import KeyTask, drawn
from bedsim.sweep.plan import load_plan
from bedsim.sweep.run import order_of

KEY = "guide.radial_n_per_um"


@pytest.mark.long
def test_machines_in_pairs_carry_what_was_learnt_to_the_changed_machine(folder, found, kept):
    """The n-th machine of both is the n-th that agrees: keys of both alike, joint's own drawn from ranges."""
    told = told_scenario(folder)
    one, other = (find_draws(load_scenario(told, changes), 3) for changes in ((), ("joint.kind=rolling",)))
    assert one.told == other.told == str(kept)
    assert [m["lateral_pv"] for m in one.machines[1:]] == pytest.approx(
        list(found.after.lateral[:3]), rel=1e-3
    )
    changed = load_scenario(told, ("joint.kind=rolling",)).knowledge
    values = key_values(found.unknowns, found.machines[1])
    assert changed.machines[1][KEY] == pytest.approx(values[KEY], rel=1e-6)
    pairs = [(m, n) for m, n in zip(other.machines, one.machines, strict=True) if m is not None]
    assert len(pairs) >= 3 and all(m["lateral_pv"] < 0.5 * n["lateral_pv"] for m, n in pairs)


def test_a_key_that_dropped_out_is_drawn_from_its_range_again(folder, kept):
    text = told_scenario(folder).read_text()
    wide = "low = 0.1, likely = 0.9, high = 9.0"
    (folder / "changed.toml").write_text(text.replace("low = 0.6, likely = 0.9, high = 1.3", wide))
    before, after = (
        [m["lateral_pv"] for m in drawn_values(load_scenario(folder / name), 8)[1:]]
        for name in ("told.toml", "changed.toml")
    )
    assert np.std(np.log(after)) > 1.5 * np.std(np.log(before))


@pytest.fixture(scope="module")
def plan_path(folder, kept):
    told_scenario(folder)
    path = folder / "plan.toml"
    path.write_text(
        'title = "told"\nscenario = "told.toml"\nmembers = 24\nseed = 5\n'
        "[machine_doubt]\nmachines = 4\nprinters = 20\n"
        "[lot]\nonce_per_turn_rms_um = 8\nthread_run_out_um = 150\n"
        '[target]\nlateral_pv_um = 20\n[[axis]]\nkey = "grade"\nvalues = ["C7"]\n'
    )
    return path


def test_a_sweep_draws_the_machines_that_agree(plan_path, found):
    plan = load_plan(plan_path)
    values = [
        drawn(plan.cells[0].loaded, k, plan.file.seed).scenario.corner[0].guide.radial_n_per_um
        for k in (1, 2, 3)
    ]
    told = [key_values(found.unknowns, u)[KEY] for u in found.machines[:3]]
    assert values == pytest.approx(told, rel=1e-6)
    assert not any(isinstance(task, KeyTask) for task in left(plan, order_of(plan), {}))
    assert any("machine.json" in note for note in plan.notes)


def test_a_sweep_of_other_machines_is_another_sweep(plan_path, kept):
    before, sound = load_plan(plan_path).fingerprint, kept.read_text()
    file = json.loads(sound)
    file["machines"] = file["machines"][::-1]
    try:
        kept.write_text(json.dumps(file))
        assert load_plan(plan_path).fingerprint != before
    finally:
        kept.write_text(sound)


def test_size_takes_the_likeliest_numbers_and_says_so(folder, kept):
    said = CliRunner().invoke(size, [str(told_scenario(folder)), "--no-pictures"], catch_exceptions=False)
    assert "What readings have told of the machine is taken from" in said.output
