"""The law of a late table against machines that are turned, and what a doubt of the angle leaves."""

import numpy as np
import pytest

from bedsim.analysis.metrics import widest
from bedsim.compensate.correction import sideways
from bedsim.compensate.phase import law, phase_needs
from bedsim.compensate.printed import at_rest, printed, turned
from bedsim.compensate.software import software_sentence, travel_table
from bedsim.simulation import make_job
from bedsim.units import DEG, MM


def test_the_law_is_that_of_a_sine():
    u = np.linspace(0, 2 * np.pi, 3601)
    for phi in (5 * DEG, 30 * DEG, 60 * DEG, 180 * DEG):
        left = np.abs(np.sin(u + phi) - np.sin(u)).max()
        assert law(phi) == pytest.approx(left, rel=1e-5)
    assert [round(law(a * DEG), 3) for a in (5, 15, 30, 60, 180)] == [0.087, 0.261, 0.518, 1.0, 2.0]


@pytest.mark.parametrize("name", ["bent-rolled-rigid", "ground-stiff"])
def test_a_turned_machine_keeps_to_the_law(shipped, name):
    """Bows change along the screw while it turns, so that the error is no pure sine: 3 % of the law, 6 %
    where it is turned over."""
    rest = at_rest(shipped(name))
    now = rest.errors(rest.pose())["lateral_error"]
    before = widest(rest.top, now).max()
    for degrees, off in ((5, 0.03), (30, 0.03), (180, 0.06)):
        by = np.full(3, degrees / 360 * 5 * MM)
        late = rest.errors(rest.pose(by))["lateral_error"] - now
        assert widest(rest.top, late).max() / before == pytest.approx(law(degrees * DEG), rel=off)


def test_a_turned_machine_is_that_of_other_keys(shipped):
    """Turned by the path it sees, or by clocking and place of the nut in the scenario: the same machine,
    whose stiffness is that of a nut 0.2 mm further up (part in a thousand)."""
    loaded = shipped("bent-rolled-rigid")
    by = 0.2
    rest = at_rest(loaded)
    keys = {f"corner.{c.name}.screw.clocking_deg": -360.0 * by / 5.0 for c in loaded.scenario.corner}
    other = at_rest(loaded.with_values({**keys, "print.first_layer_nut_mm": 230.0 + by}))
    one = rest.errors(rest.pose(np.full(3, by * MM)))["lateral_error"]
    two = other.errors(other.pose())["lateral_error"]
    assert np.abs(one - two).max() < 2e-3 * np.abs(one).max()


def test_the_propagator_keeps_to_the_law_too(shipped):
    """A table from a run with friction, on a run of the machine turned by 30 degrees, over one turn of the
    screw."""
    loaded = shipped("bent-rolled-rigid", "print.layers=21")
    job = make_job(loaded)
    run = printed(loaded, job)
    zero = job.machine.stations.positions(run.layer)
    table = sideways(run.pose_raw, run.print_height, zero).moves(run.probe_position)
    late = printed(loaded, turned(job, np.full(3, 30 / 360 * 5 * MM)))
    left = widest(run.print_height, late.lateral_error - table).max()
    before = widest(run.print_height, run.lateral_error).max()
    assert left / before == pytest.approx(law(30 * DEG), rel=0.05)


def test_doubt_of_the_angle(shipped):
    loaded = shipped("bent-rolled-rigid")
    found = phase_needs(loaded, at_rest(loaded), homing=0.8 * MM, levelling=0.0)
    assert 0.4 < found.share < 0.6 and found.half == pytest.approx(0.8 * MM, rel=0.1)
    # the mean of 2 sin(phi/2) over an even doubt is 1 at 128 degrees, by hand: 1.77 mm of 5
    assert found.none == pytest.approx(128 / 360 * 5 * MM, rel=0.04)
    by_homing = [d.mean for d in found.doubts if d.cause == "homing"]
    assert by_homing == sorted(by_homing)
    assert found.late[0].homing == pytest.approx(5 / 360 * 5 * MM)
    assert found.late[0].full_steps == pytest.approx(5 / 1.8)


def test_improve_tells_what_compensate_leaves(shipped):
    """The same print, worked out by either: over the whole travel the linear machine's error, and the same
    steps; a machine below two steps is told as not worth it."""
    rigid = travel_table(shipped("bent-rolled-rigid"), 5e-6).gain
    assert 4e-6 < rigid.stepped <= rigid.worst < 7.1e-6 < rigid.late < 0.25 * rigid.before
    assert "not worth it" in software_sentence(travel_table(shipped("ground-stiff"), 5e-6).gain)
