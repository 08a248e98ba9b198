"""Push-pull, tap and cord: known machines come back, uncertainties against a Monte Carlo, bad files are
told."""

import math
import tomllib

import numpy as np
import pytest
from scipy.optimize import curve_fit

from bedsim.errors import InputError
from bedsim.metrology import cord_fit, decay_fit, recipes, stiffness_fit
from bedsim.metrology.snippet import MeasuredKey, toml_text

UM = 1e-6
LOOP = np.array([0, 10, 20, 30, 20, 10, 0, -10, -20, -30, -20, -10, 0, 10.0])


def bed(force, k=2e6, friction=4.0):
    """Spring with Coulomb friction beside it, well past break-away on each side."""
    side = np.sign(np.diff(force, prepend=force[:1]))
    return 1e-4 + (force - side * friction) / k


def fit(force, displacement, **more):
    return stiffness_fit.fit_loop(force, displacement, "carriage", "radial", math.nan, 1e-7, 0.01, **more)


def test_slope_is_stiffness_and_half_the_width_is_friction():
    got = fit(LOOP, bed(LOOP))
    assert got.stiffness == pytest.approx(2e6)
    assert got.friction == pytest.approx(4.0)


def test_loop_uncertainty_agrees_with_a_monte_carlo():
    rng = np.random.default_rng(9)
    fits = [fit(LOOP, bed(LOOP) + rng.normal(0, 1e-6, LOOP.size)) for _ in range(500)]
    for name in ("stiffness", "friction"):
        stated = np.mean([getattr(f, name + "_uncertainty") for f in fits])
        assert np.std([getattr(f, name) for f in fits]) == pytest.approx(stated, rel=0.12)


def test_loop_agrees_with_scipy():
    rng = np.random.default_rng(10)
    x = bed(LOOP) + rng.normal(0, 1e-6, LOOP.size)
    side = np.sign(np.diff(LOOP, prepend=LOOP[:1]))[1:]
    p, _ = curve_fit(lambda f, x0, k, c: x0 + (f - side * c) / k, LOOP[1:], x[1:] / UM, p0=[1, 1, 1])
    got = fit(LOOP, x)
    assert got.stiffness == pytest.approx(p[1] / UM, rel=1e-6)
    assert got.friction == pytest.approx(p[2], rel=1e-6)


def test_three_heights_from_a_file_in_pounds_and_thou(tmp_path):
    """One pound-force is 4.4482216 N, one thou 25.4 um; the keys carry the spread of the heights."""
    rows = []
    for h, k in ((100, 1.8e6), (200, 2e6), (300, 2.2e6)):
        rows += [
            f"carriage,radial,{h},{f / 4.4482216:.6f},{x / 25.4e-6:.6f}"
            for f, x in zip(LOOP, bed(LOOP, k), strict=True)
        ]
    path = tmp_path / "push.csv"
    notes = "# resolution_thou = 0.05\n# resolution_lbf = 0.01\n"
    path.write_text(
        notes + "place,direction,height_mm,force_lbf,displacement_thou\n" + "\n".join(rows) + "\n"
    )
    fits = stiffness_fit.read_loops(path)
    assert [f.stiffness for f in fits] == pytest.approx([1.8e6, 2e6, 2.2e6], rel=1e-4)
    keys, remarks = stiffness_fit.scenario_keys(fits)
    table = tomllib.loads(toml_text(keys, remarks))["guide"]["radial_n_per_um"]
    assert table["likely"] == pytest.approx(2.0, abs=0.01)
    assert table["low"] <= 1.8 and table["high"] >= 2.2 and table["basis"] == "measured"
    assert "friction 4" in remarks[0]


def test_a_warning_of_loops_is_told_once_with_its_heights():
    """Ten divisions of 4 um: 33 um of travel at two heights is too little, without a height just said."""
    loops = [
        stiffness_fit.fit_loop(LOOP, bed(LOOP), "carriage", direction, height, 4e-6, 0.01)
        for direction, height in (("radial", 0.1), ("radial", 0.3), ("tangential", math.nan))
    ]
    first, second = stiffness_fit.loop_warnings(tuple(loops))
    assert first.startswith("carriage, radial, at 100, 300 mm: the displacement is less than ten divisions")
    assert second.startswith("carriage, tangential: the displacement")


@pytest.mark.parametrize(
    ("force", "displacement", "says"),
    [
        ([0, 10, 20, 30, 40, 50, 60], [0, 1, 2, 3, 4, 5, 6], "growing and falling"),
        ([0, 10, 0], [0, 1, 0], "at least five"),
        ([0, 10, 20, 30, 20, 10, 0], [0] * 7, "does not change"),
        ([0, 10, 20, 30, 20, 10, 0], [0, -1, -2, -3, -2, -1, 0], "against the force"),
    ],
)
def test_bad_loops(force, displacement, says):
    with pytest.raises(InputError, match=says):
        fit(np.array(force, float), np.array(displacement, float) * UM)


def test_exponential_decay_gives_its_damping():
    """x = exp(-zeta w t): the decrement is 2 pi zeta/sqrt(1 - zeta^2)."""
    n, zeta = np.arange(10.0), 0.04
    a = 1e-4 * np.exp(-2 * np.pi * zeta / math.sqrt(1 - zeta**2) * n)
    got = decay_fit.fit_decay(n, a, n / 12.5, 1e-8)
    assert got.damping == pytest.approx(zeta, rel=1e-9)
    assert got.frequency == pytest.approx(12.5)
    assert not got.friction_like


def test_coulomb_decay_is_called_friction():
    """Dry friction takes the same step off every swing (4F/k a full swing, derived), not the same share."""
    n = np.arange(12.0)
    got = decay_fit.fit_decay(n, 1e-4 * (1 - 0.08 * n), None, 1e-8)
    assert got.friction_like
    assert math.isnan(got.frequency)


def test_decay_uncertainty_agrees_with_a_monte_carlo():
    rng = np.random.default_rng(11)
    n, zeta = np.arange(8.0), 0.03
    clean = 1e-4 * np.exp(-2 * np.pi * zeta / math.sqrt(1 - zeta**2) * n)
    fits = [decay_fit.fit_decay(n, clean * np.exp(rng.normal(0, 0.05, 8)), None, 1e-9) for _ in range(600)]
    stated = np.mean([f.damping_uncertainty for f in fits])
    assert np.std([f.damping for f in fits]) == pytest.approx(stated, rel=0.2)


def test_counted_taps(tmp_path):
    """Ten swings from 100 to 20 um in 0.8 s: decrement ln(5)/10 = 0.1609, damping 0.0256, 12.5 Hz."""
    path = tmp_path / "tap.csv"
    path.write_text("cycles,duration_s,first_um,last_um\n10,0.8,100,20\n10,0.8,50,10\n")
    got = decay_fit.read_decay(path)
    assert got.damping == pytest.approx(0.1609 / math.hypot(2 * math.pi, 0.1609), rel=1e-3)
    assert got.frequency == pytest.approx(12.5)
    keys, _ = decay_fit.scenario_keys(got)
    assert 0.02 < tomllib.loads(toml_text(keys))["damping"]["ratio"]["low"] < 0.0256


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("cycle,amplitude_um\n0,10\n1,5\n", "at least three swings"),
        ("cycle,amplitude_um\n0,10\n1,5\n2,0\n", "must be > 0"),
        ("cycles,first_um,last_um\n5,10,20\n", "below first"),
        ("cycle,amplitud_um\n0,10\n", "Did you mean amplitude_um"),
    ],
)
def test_bad_decays(tmp_path, text, says):
    (tmp_path / "tap.csv").write_text(text)
    with pytest.raises(InputError, match=says):
        decay_fit.read_decay(tmp_path / "tap.csv")


def test_cord_gives_drag_load_and_detent(tmp_path):
    """Radius 10 mm: 100 g is 9.80665 N mm; drag 20, load 5, detent 12 N mm."""
    g = 100 / 9.80665
    rows = [("raises", "off", 25 * g)] * 3 + [("lowers", "off", 15 * g)] * 3
    rows += [("raises", "on", (25 + t) * g) for t in (0, 6, 12, 6)] + [
        ("lowers", "on", (15 + t) * g) for t in (0, 6, 12, 6)
    ]
    path = tmp_path / "cord.csv"
    path.write_text(
        "# radius_mm = 10\ndirection,motor,mass_g\n" + "".join(f"{d},{m},{v}\n" for d, m, v in rows)
    )
    got = cord_fit.read_cord(path)
    assert [got.drag, got.load, got.detent] == pytest.approx([0.020, 0.005, 0.012])
    # by 2 g where nothing is written: 2e-3 x 9.80665 x 0.01 N m over root 12 each way, halved
    assert got.drag_uncertainty == pytest.approx(1.96133e-4 / math.sqrt(24), rel=1e-6)
    keys, remarks = cord_fit.scenario_keys(got)
    read = tomllib.loads(toml_text(keys))
    assert read["nut"]["drag_torque_n_mm"]["likely"] == pytest.approx(20, abs=0.1)
    assert read["motor"]["detent_torque_n_m"]["likely"] == pytest.approx(0.012, abs=1e-4)
    assert any("fall" in r for r in remarks)


def test_cord_in_one_direction_says_what_is_in_it():
    got = cord_fit.fit_cord(np.array([0.02, 0.021]), np.array([True, True]), np.array([False, False]), 1e-4)
    assert any("contains the torque of the load" in w for w in got.warnings)
    assert math.isnan(got.detent)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("direction,motor,mass_g\nraises,off,10\n", "radius_mm: write"),
        ("# radius_mm = 0\ndirection,motor,mass_g\nraises,off,10\n", "radius_mm = 0: must be"),
        (
            "# radius_mm = 9\ndirection,motor,mass_g\nup,off,10\n",
            "direction = 'up': must be one of raises, lowers",
        ),
        ("# radius_mm = 9\ndirection,motor,mass_g\nraises,off,-1\n", "must not be negative"),
        (
            "# radius_mm = 9\ndirection,motor,mass_kg\nraises,off,0.2\nraises,on,180\n",
            "line 4, mass = 180 kg: must be 5 kg or less.*are they g",
        ),
        ("# radius_mm = 9\ndirection,motor,mass_g\nraises,off,0.18\n", "heaviest is 0.18 g.*are they kg"),
    ],
)
def test_bad_cords(tmp_path, text, says):
    (tmp_path / "cord.csv").write_text(text)
    with pytest.raises(InputError, match=says):
        cord_fit.read_cord(tmp_path / "cord.csv")


@pytest.mark.parametrize(
    ("likely", "u", "least"), [(0.4, 0.3, 0.0), (123.4567, 0.02, 0.0), (-5, 1, None), (0, 0, 0.0)]
)
def test_snippet_keeps_order_and_bounds(likely, u, least):
    key = MeasuredKey(table="nut", key="k", likely=likely, uncertainty=u, least=least)
    got = tomllib.loads(toml_text([key]))["nut"]["k"]
    assert got["low"] <= got["likely"] <= got["high"]
    assert least is None or got["low"] >= least
    assert got["likely"] == pytest.approx(likely, abs=max(u / 10, 1e-9))


@pytest.mark.parametrize("name", recipes.RECIPES)
def test_every_recipe_has_a_blank_of_its_own_test(name, tmp_path):
    text = recipes.blank(name)
    header = next(line for line in text.splitlines() if not line.startswith("#")).split(",")
    assert recipes.which_test(header, {}) == name
    page = recipes.recipe(name)
    assert page.startswith("# ") and len(page.splitlines()) <= 60 and max(map(len, page.splitlines())) <= 100


def test_unknown_tests_are_refused():
    with pytest.raises(InputError, match="Did you mean stiffness"):
        recipes.recipe("stiffnes")
    with pytest.raises(InputError, match="belong to none"):
        recipes.which_test(["a", "b"], {})


def test_friction_of_a_carriage_comes_from_pushing_it_along_its_guide():
    """Sideways loops tell a stiffness of the guide; only the vertical one its friction, and no stiffness."""
    fits = [
        stiffness_fit.fit_loop(LOOP, bed(LOOP), place, way, math.nan, 1e-7, 0.01)
        for place, way in (("carriage", "radial"), ("carriage", "vertical"), ("joint", "radial"))
    ]
    keys = {(k.table, k.key): k.likely for k in stiffness_fit.scenario_keys(tuple(fits))[0]}
    assert keys == {
        ("guide", "radial_n_per_um"): pytest.approx(2.0),
        ("guide", "friction_n"): pytest.approx(4.0),
        ("joint", "lateral_n_per_mm"): pytest.approx(2000.0),
    }


def test_blanks_ask_for_what_the_evaluation_needs():
    """Run-out: eighths of a turn at five places and no more; stiffness: whole loops, both ways alike; cord:
    four readings each way with current off and on."""
    turns = [line.split(",") for line in recipes.blank("run-out").splitlines() if line[:1].isdigit()]
    assert sorted({float(a) for _, a, *_ in turns}) == [45.0 * k for k in range(8)]
    assert len(turns) == 5 * 8 and max(float(s) for s, *_ in turns) < 400
    loops = [line.split(",") for line in recipes.blank("stiffness").splitlines() if line.startswith("carr")]
    forces = [float(row[3]) for row in loops]
    assert max(forces) == -min(forces) == 30 and abs(sum(forces)) < 1e-9
    cords = [line for line in recipes.blank("cord").splitlines() if line.startswith(("raises", "lowers"))]
    assert sorted(cords.count(line) for line in set(cords)) == [4, 4, 4, 4]
