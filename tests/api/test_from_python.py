"""bedsim from Python: what is asked of a machine, how answers show themselves, and what is refused."""

import copy
import dataclasses
import subprocess
import sys
import tomllib

import matplotlib
import numpy as np
import pytest
from api_machines import MACHINE

import bedsim
from bedsim.errors import InputError
from bedsim.scenario.toml_text import toml_lines

matplotlib.use("Agg")


def test_importing_bedsim_loads_nothing_heavy():
    heavy = ("numpy", "scipy", "pydantic", "matplotlib")
    code = f"import bedsim, sys; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_tables_in_python_are_the_file_that_says_the_same(machine):
    assert tomllib.loads(machine.source_text) == MACHINE
    assert bedsim.load_scenario(machine.source_text).scenario == machine.scenario
    more = {"title": "b", "bed": {k: np.float64(v) for k, v in MACHINE["bed"].items()}}
    assert bedsim.scenario(MACHINE, **more).scenario.title == "b"


def test_toml_is_read_back_as_it_was_written():
    tree = {
        'a "b"': 1,
        "x": {"y": {"low": 1, "likely": 2, "high": 3}, "z": [{"k": [1, 2.5, "ü\n"]}, {"k": []}]},
        "t": True,
    }
    assert tomllib.loads("\n".join(toml_lines(tree, "t"))) == tree


def test_a_scenario_by_path_text_or_object_runs_alike(machine, tmp_path):
    path = tmp_path / "m.toml"
    path.write_text(machine.source_text, "utf-8")
    runs = [
        bedsim.simulate(given, "equilibrium") for given in (path, str(path), machine.source_text, machine)
    ]
    assert len({r.layers.lateral_error.tobytes() for r in runs}) == 1


def test_every_answer_is_short_and_safe(run, swept, machine):
    titled = copy.deepcopy(MACHINE) | {"title": "<b>&amp;"}
    shown = [
        run,
        run.layers,
        run.answer,
        swept,
        swept.cells[0],
        machine,
        bedsim.scenario(titled),
        bedsim.size(machine),
        bedsim.compare(machine, machine.with_values({"joint.kind": "rolling"}), engine="equilibrium"),
    ]
    for one in shown:
        assert 20 < len(repr(one)) < 4000, type(one)
    html = bedsim.scenario(titled)._repr_html_()
    assert "<b>&amp;" not in html and "&lt;b&gt;&amp;amp;" in html
    assert "<table>" in run._repr_html_() and run.answer.verdict in run._repr_html_()
    assert swept.cells[0]._repr_html_() is None


def test_runs_and_sweeps_are_saved_and_opened(run, swept, tmp_path):
    again = bedsim.open_result(bedsim.save(run, tmp_path / "run.h5"))
    assert repr(again) == repr(run) and again.answer.verdict == run.answer.verdict
    same = bedsim.open_sweep(bedsim.save(swept, tmp_path / "sweep.h5"))
    assert repr(same) == repr(swept)


def test_more_processes_give_the_same_sweep(plan, swept):
    told = []
    quick = plan.with_name("quick.toml")
    quick.write_text(plan.read_text("utf-8").replace("machines = 2", "machines = 1"), "utf-8")
    other = bedsim.sweep(quick, workers=2, progress=lambda done, total: told.append((done, total)))
    assert [c.figures.tobytes() for c in other.cells] == [c.figures.tobytes() for c in swept.cells]
    assert told[-1][0] == told[-1][1]


def test_pictures_are_figures_and_take_axes(run, swept, machine):
    from matplotlib.figure import Figure

    sizing = bedsim.size(machine)
    for found, count in ((run, 3), (swept, 1), (sizing, 1)):
        figure = bedsim.plot(found)
        assert isinstance(figure, Figure) and figure._repr_png_().startswith(b"\x89PNG")
        own = Figure().subplots(1, count)
        assert bedsim.plot(found, axes=own) is np.ravel(own)[0].figure
    for what in ("machine", "path", "wavelengths"):
        assert bedsim.plot(run, what).axes


def test_compare_and_tables_of_others(run, machine, tmp_path):
    found = bedsim.compare(
        run, machine.with_values({"joint.kind": "rolling"}), engine="equilibrium", labels=["a", "b"]
    )
    assert found.labels == ("a", "b") and found.values[0]["lateral_pv"] > found.values[1]["lateral_pv"]
    rows = bedsim.to_csv(run, tmp_path / "r.csv").read_text("utf-8").splitlines()
    assert len(rows) == 1 + 6 * len(run.layers.probe_name)
    assert '"verdict": "The bed strays' in bedsim.to_json(run, tmp_path / "r.json")
    assert (tmp_path / "r.json").read_text("utf-8").startswith("{")


def test_gauge_gives_keys_with_their_uncertainty(tmp_path):
    path = tmp_path / "g.csv"
    rows = [
        f"{z},{a},{10 + 20 * np.cos(np.deg2rad(a)) * np.sin(np.pi * z / 400):.1f}"
        for z in (50, 150, 250, 350)
        for a in range(0, 360, 45)
    ]
    path.write_text("\n".join(["# length_mm = 400", "position_mm,angle_deg,reading_um", *rows]), "utf-8")
    found = bedsim.gauge(path)
    bow = next(k for k in found.keys if k.key == "bow_tir_um")
    assert bow.likely == pytest.approx(40, abs=3 * bow.uncertainty) and "bow_tir_um" in found.toml
    assert "bow_tir_um" in repr(found)


REFUSED = {
    "no such file": lambda m, r, p, t: bedsim.load_scenario(t / "none.toml"),
    "scenario: bedd = ": lambda m, r, p, t: bedsim.scenario(MACHINE, bedd={"x": 1}),
    "must be text, a number": lambda m, r, p, t: bedsim.scenario(MACHINE, title=object()),
    "is no machine": lambda m, r, p, t: bedsim.simulate(3),
    "there is no such engine": lambda m, r, p, t: bedsim.simulate(m, "propagtor"),
    "at least 2 machines": lambda m, r, p, t: bedsim.compare(m),
    "give one for each": lambda m, r, p, t: bedsim.compare(m, m, labels=["a"]),
    "must be at least 1": lambda m, r, p, t: bedsim.sweep(p, workers=0),
    "must be a number of processes": lambda m, r, p, t: bedsim.sweep(p, workers=True),
    "Did you mean path": lambda m, r, p, t: bedsim.plot(r, "pat"),
    "takes 3": lambda m, r, p, t: bedsim.plot(r, axes=[1]),
    "takes no axes": lambda m, r, p, t: bedsim.plot(r, "path", axes=[1]),
    "there is no picture": lambda m, r, p, t: bedsim.plot(m),
    "must end in .h5": lambda m, r, p, t: bedsim.save(r, t / "r.txt"),
    "is no run or sweep": lambda m, r, p, t: bedsim.save(m, t / "r.h5"),
    "must end in .csv": lambda m, r, p, t: bedsim.to_csv(r, t / "r.h5"),
    "is no answer": lambda m, r, p, t: bedsim.to_json(m),
    "probability = 2": lambda m, r, p, t: bedsim.improve(m, probability=2),
    "target_um = 0": lambda m, r, p, t: bedsim.improve(m, target_um=0),
    "step_um = -1": lambda m, r, p, t: bedsim.compensate(m, step_um=-1),
    "limit_mm = 9": lambda m, r, p, t: bedsim.compensate(m, limit_mm=9),
    "sigma_um = 0": lambda m, r, p, t: bedsim.learn([], m, sigma_um=0),
}


@pytest.mark.parametrize("words", REFUSED)
def test_what_cannot_be_used_is_one_message(words, machine, run, plan, tmp_path):
    with pytest.raises(InputError, match=words):
        REFUSED[words](machine, run, plan, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_an_older_run_without_answer_says_less(run):
    bare = dataclasses.replace(run, answer=None)
    assert run.answer.verdict not in repr(bare)
