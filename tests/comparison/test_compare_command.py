"""`bedsim compare`: files, tables, pictures, conditions, exit codes."""

import numpy as np
import pytest
from in_phase import TEXT

from bedsim.cli import compare as cli
from bedsim.cli.main import main
from bedsim.comparison import break_even as analysis
from bedsim.results.store import read_run, write_run
from bedsim.simulation import simulate

QUICK = ("--engine", "equilibrium", "--no-ranges", "--no-pictures")


@pytest.fixture
def machine(tmp_path, monkeypatch):
    """The machine as a file in an empty folder, which is the working folder."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "machine.toml"
    path.write_text(TEXT)
    return path


@pytest.fixture
def results(one, tmp_path, monkeypatch):
    """Two results, bolted.h5 and jointed.h5."""
    monkeypatch.chdir(tmp_path)
    for name, keys in (("bolted", {"joint__kind": "rigid"}), ("jointed", {})):
        write_run(one(name, **keys).run, tmp_path / f"{name}.h5")
    return str(tmp_path / "bolted.h5"), str(tmp_path / "jointed.h5")


def test_two_results_give_tables_pictures_and_a_sentence(results, tmp_path, capsys):
    assert main(["compare", *results, "--no-ranges"]) == 0
    out = capsys.readouterr().out
    assert out.lstrip().startswith("Against bolted, jointed strays 59 µm less sideways")
    assert "jointed - bolted" in out and "-59 µm" in out
    folder = tmp_path / "results" / "compare-bolted-jointed"
    names = {p.name for p in folder.iterdir()}
    assert names == {"travel.png", "errors.png", "wavelengths.png", "wall.png", "figures.png"}
    assert all(p.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n" for p in folder.iterdir())


def test_conditions_decide_the_exit_code(results, capsys):
    assert main(["compare", *results, "--no-ranges", "--no-pictures", "--require", "lateral_pv_um<=10"]) == 0
    assert (
        main(["compare", *results[::-1], "--no-ranges", "--no-pictures", "--require", "lateral_pv_um<=10"])
        == 1
    )
    assert "required lateral_pv_um<=10: missed by bolted (60)" in capsys.readouterr().out


def test_software_stands_beside_the_first(results, capsys):
    """One run is enough; a target decides, and ranges keep the table of the likely machine."""
    asked = ("--compensated", "--no-pictures", "--require", "lateral_pv_um<=10")
    assert main(["compare", results[0], *asked]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "Against bolted, bolted, compensated strays" in out and "X and Y in steps of 5 µm" in out
    assert main(["compare", results[0], *asked, "--no-ranges", "--step-um", "50"]) == 1
    assert "Not to be done: " in " ".join(capsys.readouterr().out.split())
    for wrong in (["--step-um", "5", results[1]], ["--compensated", "--break-even"]):
        assert main(["compare", results[0], *wrong]) == 2


def test_one_scenario_is_varied_run_and_its_results_kept(machine, capsys):
    """What was kept compares again to the same sentence."""
    arguments = ["compare", str(machine), "--vary", "joint.kind=rigid, rolling", *QUICK, "--output", "out"]
    assert main(arguments) == 0
    first = capsys.readouterr().out
    assert "joint.kind = rolling instead of rigid" in first
    kept = ["out/kind_rigid.h5", "out/kind_rolling.h5"]
    assert "# set on the command line: joint.kind=rigid" in read_run(machine.parent / kept[0]).scenario_source
    assert main(["compare", *kept, *QUICK[2:]]) == 0
    again = capsys.readouterr().out
    told = [" ".join(out.split()).partition(" strays ")[2] for out in (first, again)]
    sentences = [text.partition(" Peak to valley")[0] for text in told]
    assert sentences[0] == sentences[1]
    assert sentences[0].startswith("59 µm less sideways")


def test_a_scenario_and_a_result_go_together(machine, results, capsys):
    """An override holds for the scenario; the result stays as it is."""
    assert main(["compare", results[0], str(machine), *QUICK, "--set", "print.layers=9"]) == 0
    out = capsys.readouterr().out
    assert "bolted to layer 9 of 17" in out
    assert "print.layers = 9 instead of 17" in out


def test_ranges_are_told_where_numbers_are_uncertain(machine, capsys):
    text = machine.read_text().replace("tangential_n_per_um = {low = 2.5", "tangential_n_per_um = {low = 1.5")
    machine.write_text(text)
    assert main(["compare", str(machine), "--vary", "joint.kind=rigid,rolling", *QUICK[:2], QUICK[3]]) == 0
    out = capsys.readouterr().out
    assert "every uncertain key alone at its low and high" in out
    assert "µm less sideways (" in out


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("machine.toml",), "one file has nothing to be compared with"),
        (("machine.toml", "machine.toml"), "the same file is given twice"),
        (("machine.toml", "none.h5"), "none.h5: cannot be read: there is no such file"),
        (("machine.toml", "machin.toml"), "Did you mean machine.toml?"),
        (("machine.toml", "--vary", "joint.kind"), "is written KEY=V1,V2"),
        (("machine.toml", "--vary", "joint.kind=rigid"), "is written KEY=V1,V2"),
        (("machine.toml", "--vary", "joint.kind=rigid,rigid"), "a value is given twice"),
        (("machine.toml", "--vary", "joint.kind=rigid,roling"), 'joint.kind = "roling"'),
        (("machine.toml", "--vary", "print.layers=1,2,3,4,5,6,7"), "at most 6"),
        (("machine.toml", "jointed.h5", "--vary", "joint.kind=rigid,rolling"), "goes with one scenario"),
        (("jointed.h5", "--vary", "joint.kind=rigid,rolling"), "needs a scenario, and this is a result"),
        (("jointed.h5", "bolted.h5", "--set", "print.layers=9"), "--set: results stay as they are"),
        (("machine.toml", "jointed.h5", "--require", "latral_pv_um<=3"), "Did you mean lateral_pv_um?"),
        (("machine.toml", "--break-even", "--vary", "a=1,2"), "give one of them"),
        (("machine.toml", "jointed.h5", "--worth-um", "3"), "--worth-um: goes with --break-even"),
        (("machine.toml", "--break-even", "--require", "lateral_pv_um<=3"), "not for --break-even"),
        (("machine.toml", "jointed.h5", "--engine", "magic"), "there is no such engine"),
        (("bolted.h5", "--break-even"), "there is no joint to weigh"),
    ],
)
def test_what_cannot_be_compared_is_refused_in_one_message(machine, results, capsys, arguments, message):
    assert main(["compare", *arguments]) == 2
    error = capsys.readouterr().err
    assert message in error
    assert "Traceback" not in error


def test_commas_inside_a_value_do_not_part_it():
    assert cli._varied('bed.mass_kg={low = 1, likely = 2, high = 3, basis = "measured"},4') == (
        "bed.mass_kg",
        ['{low = 1, likely = 2, high = 3, basis = "measured"}', "4"],
    )
    assert cli._varied("output.trace_layers=[2, 3],[]") == ("output.trace_layers", ["[2, 3]", "[]"])


def test_break_even_is_told_and_drawn(results, tmp_path, capsys, monkeypatch):
    """The search itself is tested by its closed forms; here a made-up outcome goes through the command."""
    curve = analysis.Curve(
        place=np.array([1e5, 1e6, 1e7]),
        rigid=np.array([90e-6, 60e-6, 9e-6]),
        joint=np.array([2e-6, 2e-6, 2e-6]),
    )
    crossing = analysis.Crossing(curve=curve, given=1e6, at=(5e6,), pays_at_low=True, pays_at_high=False)
    asked = []

    def made_up(loaded, worth, progress):
        asked.append(worth)
        return analysis.BreakEven(
            kind="rolling",
            worth=worth,
            rigid=60e-6,
            joint=2e-6,
            layers=9,
            stiffness=crossing,
            friction=crossing,
        )

    monkeypatch.setattr(analysis, "break_even", made_up)
    assert main(["compare", results[1], "--break-even", "--worth-um", "20"]) == 0
    out = capsys.readouterr().out
    assert asked == [pytest.approx(20e-6)]
    assert "softer than 5.0 N/µm" in out and "Caution" in out
    assert (tmp_path / "results" / "compare-jointed" / "break_even.png").is_file()


def test_equilibrium_runs_of_a_reloaded_scenario_agree(results):
    """A result is all that is needed to run it again."""
    from bedsim.results.reload import scenario_of

    run = read_run(results[1])
    again = simulate(scenario_of(run, results[1]), engine="equilibrium")
    assert np.array_equal(again.layers.lateral_error, run.layers.lateral_error)
