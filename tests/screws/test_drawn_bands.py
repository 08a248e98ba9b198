"""How much of its grade's bands a drawn screw's slow travel variation takes, measured anew on the screw.

The band is the width of the deviation about its least-squares line (REXROTH RE 83 301 p. 81); here the line
is numpy's.  At the level q of a normal error with the share p inside, the part used is z((1 + q)/2)/z((1 +
p)/2), z the normal quantile; of a uniform one q/p; sorted: q p in place of q.  A crest between two of 32
samples per wave is allowed for by 1/cos(pi/32), half a per cent.
"""

import numpy as np
import pytest
from scipy.stats import norm

from bedsim.screws import drawing, drawn, lots
from bedsim.units import UM

LENGTH, LEAD = 0.4, 0.005
D = lots.Dimensions(length=LENGTH, diameter=0.012, lead=LEAD)
S = np.linspace(0, LENGTH, 20001)
CREST = 1 / np.cos(np.pi / 32)


def make(grade, law="normal", inside=0.95):
    return lots.graded_lot(
        "lot",
        grade,
        D,
        spread=lots.Spread(law=law, inside=inside),
        once_per_turn=lots.CLASS_7_FIELD_TEST,
    )


def about_its_line(screw):
    slow = drawn.slow_deviation(screw, S)
    return slow - np.polyval(np.polyfit(S, slow, 1), S)


def band(screw):
    return float(np.ptp(about_its_line(screw)))


def band_300(screw):
    """Widest within any 300 mm, window by window."""
    rest, count = about_its_line(screw), round(0.3 / LENGTH * 20000)
    return max(float(np.ptp(rest[k : k + count + 1])) for k in range(0, 20001 - count, 20))


def within_a_turn(screw):
    """Largest rate of the slow variation against its line, over one turn."""
    return float(np.abs(np.gradient(about_its_line(screw), S)).max()) * LEAD


@pytest.mark.parametrize(
    ("law", "share_at_half"),
    [
        ("normal", lambda p: norm.ppf(0.75) / norm.ppf((1 + p) / 2)),
        ("uniform", lambda p: 0.5 / p),
        ("sorted", lambda p: norm.ppf((1 + 0.5 * p) / 2) / norm.ppf((1 + p) / 2)),
    ],
)
def test_class_7_gives_half_of_300_mm_to_the_slow_variation(law, share_at_half):
    """C7 allows 50 um over 300 mm (JIS B 1192), half of it for the variation; four or five magnitudes share
    the lot's 95 %: two ends, bow, slope, variation."""
    p = 0.95 ** (1 / 5)
    limit, typical = (f(make("C7", law)) for f in (drawing.limit_screw, drawing.typical_screw))
    assert band(limit) * CREST == pytest.approx(25 * UM, rel=3e-3)
    assert band(typical) * CREST == pytest.approx(25 * UM * share_at_half(p), rel=3e-3)


@pytest.mark.parametrize(("grade", "limits"), [("ISO 3", (12, 12, 6)), ("C5", (20, 18, 8))])
def test_a_full_grade_has_one_of_its_bands_full_and_none_beyond(grade, limits):
    """Bands of slow and once-per-turn part add at worst: vup and v300 whole, v2pi at most half from the slow
    part.  A sine's own line takes 3/pi lead/length of its width (integral of (s - L/2) sin), allowed for
    twice."""
    screw = drawing.limit_screw(make(grade))
    turn = limits[2] * UM
    per_turn = within_a_turn(screw) * CREST
    once = 2 * abs(screw.once_per_turn)
    assert once + per_turn == pytest.approx(turn, rel=3e-3)  # what the slow part takes goes off the other
    skew = 1 + 6 / np.pi * LEAD / LENGTH
    used = np.array(
        [
            (band(screw) * CREST + skew * turn) / (limits[0] * UM),
            (band_300(screw) * CREST + skew * turn) / (limits[1] * UM),
            per_turn / (turn / 2),
        ]
    )
    assert used.max() == pytest.approx(1, rel=4e-3)


def test_drawn_screws_use_their_bands_as_their_levels_say():
    """Class 7 again: of 3000 drawn, quartiles of the used part are those of a folded normal law, within what
    so many leave (four standard errors of a quantile, 0.5/sqrt(n)/density)."""
    n, p = 3000, 0.95 ** (1 / 5)
    screws = drawing.draw(make("C7"), n, np.random.default_rng(31))
    places = np.linspace(0, LENGTH, 2001)
    slow = drawn.slow_deviation(screws, places)
    slope = (slow * (places - LENGTH / 2)).sum(axis=1) / ((places - LENGTH / 2) ** 2).sum()
    used = np.ptp(slow - slope[:, None] * places, axis=1) * CREST / (25 * UM)
    z = norm.ppf((1 + p) / 2)
    for q in (0.25, 0.5, 0.75):
        wanted = norm.ppf((1 + q) / 2)
        error = 4 * np.sqrt(q * (1 - q) / n) / (2 * norm.pdf(wanted))
        assert np.quantile(used, q) * z == pytest.approx(wanted, abs=error)
