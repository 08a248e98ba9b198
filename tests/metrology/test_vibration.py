"""Logs of an accelerometer: columns under many names, modes found, matched, and every fault by its line."""

import numpy as np
import pytest
import scipy
from vibrations import log_of, rung

from bedsim.cli.main import main
from bedsim.errors import InputError
from bedsim.metrology import recipes
from bedsim.metrology.vibration_fit import RingingMode, fit_vibration
from bedsim.metrology.vibration_log import is_vibration, read_vibration
from bedsim.shake.matched_modes import MachineMode, matched


def write(tmp_path, value, header="time_s,x,y,z", rate=200.0, unit=1.0, change=lambda lines: lines):
    rows = [f"{k / rate / unit:.9g}," + ",".join(f"{v:.6f}" for v in row) for k, row in enumerate(value)]
    (tmp_path / "log.csv").write_text("\n".join(change([header, *rows])) + "\n")
    return tmp_path / "log.csv"


@pytest.fixture(scope="module")
def value():
    rng = np.random.default_rng(3)
    return rung(rng, [(12.0, 0.03, (1, 0, 0)), (31.0, 0.02, (0, 1, 0))], taps=3)


@pytest.mark.parametrize(
    ("header", "unit"),
    [
        ("Time (s)," + ",".join(f"Linear Acceleration {a} (m/s^2)" for a in "xyz"), 1.0),
        ("t [ms],ax_g,ay_g,az_g", 1e-3),
        ("seconds_elapsed,x,y,z", 1.0),
        ("timestamp_us,accel_x,accel_y,accel_z", 1e-6),
    ],
)  # fmt: skip
def test_columns_as_loggers_write_them(tmp_path, value, header, unit):
    log = read_vibration(write(tmp_path, value, header, unit=unit))
    assert log.axes == ("x", "y", "z") and log.rate == pytest.approx(200, rel=1e-6) and len(log.taps) == 3


def test_columns_of_other_sensors_are_left_out(tmp_path, value):
    both = np.hstack([value, value])
    log = read_vibration(write(tmp_path, both, "time,gyro_x,gyro_y,absolute,x,y,z"))
    assert log.unread == ("gyro_x", "gyro_y", "absolute")
    assert not is_vibration(["time_s", "gyro_x"]) and not is_vibration(["cycle", "amplitude_um", "time_s"])


def test_modes_and_damping_of_a_log(tmp_path, value):
    fit = fit_vibration(read_vibration(write(tmp_path, value)))
    assert [m.frequency for m in fit.modes] == pytest.approx([12, 31], rel=2e-3)
    assert [m.damping for m in fit.modes] == pytest.approx([0.03, 0.02], rel=0.05)
    assert [int(np.argmax(m.direction)) for m in fit.modes] == [0, 1]
    assert fit.modes[0].half_power > 0.03  # the window widens


def test_a_single_mode_agrees_with_the_oscillator_integrated_by_scipy():
    """x'' + 2 zeta w x' + w^2 x = 0 from a blow, by scipy.integrate.solve_ivp at 1e-10."""
    w, ratio, t = 2 * np.pi * 17.0, 0.04, np.arange(0, 2, 0.005)
    found = scipy.integrate.solve_ivp(
        lambda _, y: [y[1], -2 * ratio * w * y[1] - w * w * y[0]],
        (0, 2),
        [0, 1],
        t_eval=t,
        rtol=1e-10,
        atol=1e-12,
    )
    a = -2 * ratio * w * found.y[1] - w * w * found.y[0]
    quiet = np.random.default_rng(1).normal(0, 1e-4 * np.abs(a).max(), 200)
    value = np.concatenate([quiet, a, quiet, a])[:, None]
    mode = fit_vibration(log_of(value)).modes[0]
    assert (mode.frequency, mode.damping) == (pytest.approx(17.0, rel=1e-4), pytest.approx(0.04, rel=1e-3))


def test_matching_takes_each_mode_once_and_looks_at_directions():
    def seen(f, way):
        return RingingMode(
            frequency=f, frequency_uncertainty=0.1, damping=0.03, damping_uncertainty=0.01,
            direction=np.array(way, float), half_power=0.03,
        )  # fmt: skip

    def mode(f, way):
        return MachineMode(frequency=f, damping=0.03, direction=np.array(way, float))

    x, y, z = mode(100, (1, 0, 0)), mode(104, (0, 1, 0)), mode(30, (0, 0, 1))
    found = matched(
        [seen(103, (1, 0, 0)), seen(101, (0, 1, 0)), seen(60, (0, 0, 1))], ("x", "y", "z"), [x, y, z]
    )
    assert found[0] is x and found[1] is y and found[2] is None


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda s: [*s[:50], s[49], *s[50:]], r"log.csv: line 51, time_s: does not grow"),
        (lambda s: [*s[:50], *s[90:]], r"log.csv: line 51: 0.205 s after the line before: a gap"),
        (lambda s: [*s[:50], s[50].replace(",", ",b", 1), *s[51:]], r"line 51, x = 'b"),
        (lambda s: s[:50], "49 samples: at least 200"),
        (
            lambda s: [s[0], *(f"{k}" + r[r.index(",") :] for k, r in enumerate(s[1:]))],
            "1 samples a second: too",
        ),
        (lambda s: [s[0], *(r.split(",")[0] + ",0,0,0.1" for r in s[1:])], "no tap stands out"),
        (lambda s: ["time_s,u,v,w", *s[1:]], "a time and x, y or z are needed"),
    ],
)
def test_faults_are_named(tmp_path, value, change, told):
    with pytest.raises(InputError, match=told):
        read_vibration(write(tmp_path, value, change=change))


def test_the_example_beside_a_machine(tmp_path, monkeypatch, capsys, request):
    monkeypatch.chdir(tmp_path)
    machine = request.config.rootpath / "scenarios/bent-rolled-rolling-joints.toml"
    assert main(["gauge", "--example", "vibration", "v.csv"]) == 0
    assert main(["gauge", "v.csv", "--beside", str(machine)]) == 0
    out = capsys.readouterr().out
    assert "its 99.34 Hz along x" in out and "its 33.89 Hz along z" in out and "[damping]" in out
    assert (tmp_path / "results/v_gauge.png").exists()
    assert recipes.which_test(["time", "x", "y", "z"], {}) == "vibration"
