"""What clocking can and cannot cancel, against three equal corners worked out by hand.

A nut on a circle of radius e, behind a spring k_s, pushes a carriage held by k_g, so a carriage alone goes
kappa e, kappa = k_s/(k_s + k_g).  A stiff bed on grooves follows only across them, t_c at corner c:
sum t_c (k_s e_c - (k_s + k_g) t_c.u_c) = 0 and sum t_c t_c^T = 3/2, so T = (2/3) kappa sum t_c (t_c.e_c), and
turning r w = (kappa/3) sum t_c.e_c.  Held alike in both directions T = (kappa/3) sum e_c.  Derived by hand.
"""

import numpy as np
import pytest
from in_phase import GUIDE, NUT, E, in_phase

from bedsim.clocking.advice import advise
from bedsim.clocking.response import response_of, root_mean_square, screws_in_hand
from bedsim.clocking.rest import rest_of
from bedsim.simulation import simulate

PUSH = NUT / (NUT + GUIDE) * E
TURN = 2 * np.pi / 3
CORNERS = np.arange(3) * TURN
CLOCKINGS = {
    "alike": np.zeros(3),
    "with the corner": CORNERS,
    "against the corner": -CORNERS,
}
PROBES = range(5)
# the bed's corners turn about its middle, 150 mm by 150 mm away; the middle, a fifth probe, does not
LEVER = np.sqrt(4 / 5 * 2 * 0.15**2) / 0.18
TWO_TURNS = {"print__layers": 16, "joint__kind": "rigid"}
ALIKE = {"mount__kind": "flexure", "mount__radial_n_per_um": 50.0, "mount__tangential_n_per_um": 50.0}


def machine(**keys):
    return in_phase(**TWO_TURNS, **keys)


def parts(loaded, clocking):
    choice = ((0, 1, 2), np.asarray(clocking))
    rest = rest_of(response_of(loaded, screws_in_hand(loaded)), choice, choice, list(PROBES))
    return rest.along.now, rest.against.now, rest.turning.now


@pytest.mark.parametrize(
    ("clocking", "along", "against", "turning"),
    [("alike", 1, 0, 0), ("with the corner", 0, 0, 1), ("against the corner", 0, 1, 0)],
)
def test_on_grooves_one_of_three_stays_whole(clocking, along, against, turning):
    """The 60 um of a circle that go against the screws stay at minus the corner's angle."""
    expected = PUSH * np.array([along, against, turning * LEVER / np.sqrt(2)])
    assert parts(machine(), CLOCKINGS[clocking]) == pytest.approx(expected, rel=1e-3, abs=1e-9)


@pytest.mark.parametrize(
    ("clocking", "along"), [("alike", 1), ("with the corner", 0), ("against the corner", 0)]
)
def test_alike_in_both_directions_nothing_goes_against_the_screws(clocking, along):
    """And minus the corner's angle cancels all of it."""
    found = parts(machine(**ALIKE), CLOCKINGS[clocking])
    assert found[:2] == pytest.approx((PUSH * along, 0), rel=1e-3, abs=1e-9)
    if clocking == "against the corner":
        assert found[2] == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_squares_on_grooves_add_up_alike_for_every_clocking(seed):
    """Parseval: each third of the push counts alike, the turning by its lever."""
    clocking = np.random.default_rng(seed).uniform(0, 2 * np.pi, 3)
    along, against, turning = parts(machine(), clocking)
    assert along**2 + against**2 + 2 * (turning / LEVER) ** 2 == pytest.approx(PUSH**2, rel=2e-3)


@pytest.mark.parametrize("keys", [{}, ALIKE], ids=["grooves", "alike"])
def test_the_parts_are_those_of_a_run(keys):
    """Fourier components of the path of the middle of the bed, and the RMS of the whole, of a run."""
    clocking = {"A": 10.0, "B": 75.0, "C": 230.0}
    loaded = machine(**keys)
    turned = loaded.with_values({f"corner.{n}.screw.clocking_deg": a for n, a in clocking.items()})
    lateral = simulate(turned, "equilibrium").layers.lateral_error
    path = lateral[:, 0, 0] + 1j * lateral[:, 0, 1]  # the middle is the mean of all five
    waves = np.fft.fft(path) / path.size
    found = parts(loaded, np.radians(list(clocking.values())))
    # going down the bed, a right-hand screw turns counter-clockwise: two turns in 16 layers
    assert found[:2] == pytest.approx((abs(waves[2]), abs(waves[-2])), rel=1e-3, abs=1e-9)
    assert np.linalg.norm(found) == pytest.approx(root_mean_square(lateral, PROBES), rel=1e-3)


def test_a_screw_that_outweighs_the_others_is_named():
    """Eccentricities of 100, 20 and 30 um: at least half of the first stays of every part it goes into."""
    loaded = machine(
        **ALIKE,
        **{
            "corner.B.screw.run_out.eccentricity_tir_um": 20.0,
            "corner.C.screw.run_out.eccentricity_tir_um": 30.0,
        },
    )
    advice = advise(loaded, swap=False)
    assert advice.rest.along.least == pytest.approx(PUSH / 3 * (1 - 0.2 - 0.3), rel=1e-3)
    assert advice.rest.along.alone == pytest.approx(PUSH / 3 * np.array([1, 0.2, 0.3]), rel=1e-3)
    assert advice.rest.opposed < 0.01


def test_what_is_left_is_told_with_its_reason():
    from bedsim.cli.clock import rest_lines

    told = " ".join(" ".join(rest_lines(advise(machine(), swap=False))).split())
    assert "as it is" in told and "apart from that mean: the bed turns" in told
    assert "100 % as much of it going round against the screw as with it" in told
    assert "Each by itself could be brought to what the last column says, all together to" in told
    alone = " ".join(" ".join(rest_lines(advise(machine(), swap=False, probe="centre"))).split())
    assert "the bed turns" not in alone and "going round with the screws" in alone
    alike = " ".join(" ".join(rest_lines(advise(machine(**ALIKE), swap=False))).split())
    assert "alike in both directions: next to nothing goes against the screws" in alike
