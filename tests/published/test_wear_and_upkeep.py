"""Wear rates, pv limits, intervals and noise as they were read."""

import math

import pytest
from printed import digits, share

from bedsim.sizing import wear
from bedsim.units import MM, MPA
from bedsim.upkeep import grease, noise
from bedsim.upkeep.use import Use

MICROMETRES_AN_HOUR = 1e-6
# Upper test level 2500 psi ft/min, recalled, not read.
PV = 0.09 * MPA
QUOTED = "intervals are quoted, a use is chosen"


@pytest.mark.read("ASTM D3702-94(2019) clause 4.2, theiteh.com: acetal 0.25 to 0.75 um/h at the upper level")
@pytest.mark.parametrize(
    ("material", "low", "high"), [("pom", 0.25, 0.75), ("pom_ptfe", 0.075, 0.15), ("pa66", 0.25, 1.3)]
)
def test_plastics_wear_as_in_dry_thrust_washers(material, low, high, record_property):
    """Depth per hour over pressure and speed; the standard's rates were read, its pv was not."""
    # 2500 psi ft/min, as recalled: to half a hundred
    record_property("u_input", share(lambda pv: 1 / pv, pv="25e2"))
    record_property("u_data", [digits(str(low)), digits(str(high))])
    pair = wear.PAIRS[material]
    assert pair.wear_low == pytest.approx(low * MICROMETRES_AN_HOUR / 3600 / PV, rel=1e-3, abs=0)
    assert pair.wear_high == pytest.approx(high * MICROMETRES_AN_HOUR / 3600 / PV, rel=1e-3, abs=0)
    assert pair.runs == "dry"


@pytest.mark.read("rtpcompany.com, wear data 800 series: POM against glass-filled PA 66, 122e-8 mm3/(N m)")
def test_another_measurement_of_acetal_lies_within():
    """Against a filled plastic, not steel: within the range of the standard."""
    assert wear.PAIRS["pom"].wear_low < 122e-8 * 1e-9 < wear.PAIRS["pom"].wear_high


@pytest.mark.read("Mens and de Gee, Wear 149 (1991) 255-268, abstract: with PTFE below 1e-15 m3/(N m)")
def test_a_filled_plastic_stays_below():
    assert wear.PAIRS["pom_ptfe"].wear_high < 1e-15


@pytest.mark.read("Mott, Machine Elements, table 16-1, as quoted at askfilo.com")
@pytest.mark.exact_inputs("a limit is quoted, its units are defined")
def test_pv_limits_of_bronze_and_polyamide(record_property):
    """75,000, 50,000 (porous bronze) and 3,000 psi ft/min (nylon); bronze takes the lower of its two."""
    record_property("u_data", [digits("50e3"), digits("3.0e3")])
    psi_ft_min = 6894.757 * 0.3048 / 60
    assert wear.PAIRS["bronze"].pressure_velocity == pytest.approx(50_000 * psi_ft_min, rel=5e-3)
    assert wear.PAIRS["bronze"].pressure_velocity < 75_000 * psi_ft_min
    assert wear.PAIRS["pa66"].pressure_velocity == pytest.approx(3_000 * psi_ft_min, rel=5e-3)


@pytest.mark.read("The Tribology Handbook, page A4: thermoplastics with filler 0.035 to 0.11 MPa m/s dry")
def test_pv_limits_of_acetal_lie_within_a_handbook_s():
    for material in ("pom", "pom_ptfe"):
        assert 0.035 * MPA <= wear.PAIRS[material].pressure_velocity <= 0.11 * MPA


@pytest.mark.read("bnb-industries.com, technical information: 35 lb on 5/8 x 1 1/32 in at 120 rpm, PV 1066.2")
@pytest.mark.exact_inputs("a worked example: its author computed from the numbers printed beside it")
def test_pressure_times_velocity_of_a_worked_bush(record_property):
    """P = 54.3 psi over the projected area, V = 19.635 ft/min: the bush as a thread without lead, whose
    bearing area pi d2 m/2 is made d L."""
    # 1066.2 is the product of the rounded 54.3 and 19.635
    record_property("u_data", [digits("54.3"), share(lambda p, v: p * v, p="54.3", v="19.635")])
    inch, pound = 25.4 * MM, 4.4482216
    length = 2 / math.pi * (1 + 1 / 32) * inch
    pressure = wear.thread_pressure(35 * pound, pitch_diameter=5 / 8 * inch, nut_length=length)
    speed = wear.sliding_distance_per_turn(5 / 8 * inch, 0.0) * 120 / 60
    psi_ft_min = 6894.757 * 0.3048 / 60
    assert pressure / 6894.757 == pytest.approx(54.3, abs=0.05)
    assert pressure * speed / psi_ft_min == pytest.approx(1066.2, abs=1.0)


def _use(**changes: float) -> Use:
    plain = {"prints": 10.0, "layers": 1200.0, "strokes": 1200.0, "travel": 0.6, "hours": 20.0}
    return Use(**{**plain, "longest_stroke": 0.25 * MM, **changes})


@pytest.mark.read("IAI ISDB operating manual 12.1, manualarchiveguide.com page 72")
@pytest.mark.exact_inputs(QUOTED)
def test_regreasing_by_distance_and_by_time():
    """1,250 km to 750 mm/s, 2,500 to 1,500, 5,000 beyond, or 12 months; the sooner counts."""
    for speed, km in ((0.003, 1250), (0.75, 1250), (1.0, 2500), (1.6, 5000)):
        by_way, months = grease.regrease_months(_use(), speed)
        assert by_way == pytest.approx(km * 1000 / 6.0)
        assert months == 12
    assert grease.regrease_months(_use(travel=25_000.0), 0.003) == (5.0, 5.0)
    assert grease.LOOKS == (1, 3, 6)


@pytest.mark.read("IAI ISDB operating manual 12.1, manualarchiveguide.com page 72")
@pytest.mark.exact_inputs(QUOTED)
def test_short_strokes_starve_the_contacts():
    """30 mm or less: after 5,000 to 10,000 strokes five of 50 mm or more."""
    assert grease.prints_to_full_run(_use()) == pytest.approx((5000 / 1200, 10000 / 1200))
    assert grease.prints_to_full_run(_use(longest_stroke=30 * MM)) is not None
    assert grease.prints_to_full_run(_use(longest_stroke=30.1 * MM)) is None
    assert (grease.RUNS, grease.LONG_STROKE) == (5, 50 * MM)


@pytest.mark.read("Rexroth BASA R999001185 (2018-03) p. 157, cupdf.com: grease ages, two years at the latest")
def test_grease_is_renewed_within_two_years():
    assert grease.REGREASE_MONTHS <= grease.LATEST_MONTHS == 24


@pytest.mark.read("autolinearmotion.com: relubricate a lead screw after 100 to 500 h")
@pytest.mark.exact_inputs(QUOTED)
def test_lead_screws_by_hours():
    assert grease.plain_months(_use()) == pytest.approx((0.5, 2.5))
    assert grease.plain_months(_use(hours=0.1)) == (12, 12)


@pytest.mark.read("Ohta et al., ceramic balls in a linear guideway, abstract: +9.8 dB per doubling, -4.5 dB")
@pytest.mark.exact_inputs("a ratio of speeds that is chosen")
def test_level_by_speed_of_a_recirculating_guide(record_property):
    """L0 + 32.6 log10(v/v0): three digits."""
    record_property("u_data", [digits("9.8"), digits("32.6")])
    assert noise.level_difference(1.0, 2.0) == pytest.approx(9.8)
    assert noise.level_difference(1.0, 10.0) == pytest.approx(32.6, abs=0.05)
    assert noise.CERAMIC == -4.5
