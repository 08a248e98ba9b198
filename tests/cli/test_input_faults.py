"""The command line: exit codes, one message on stderr, no traceback, help that loads nothing heavy."""

import subprocess
import sys
from pathlib import Path

import click
import pytest

import bedsim.cli.new
from bedsim.cli import main as cli
from bedsim.cli.main import main
from bedsim.errors import SolverError

SCENARIO = """title = "x"
[bed]
size_x_mm = 300
size_y_mm = 300
mass_kg = 0
[print]
layers = 40
layer_mm = 0.2
"""


def test_every_fault_of_a_scenario_comes_on_stderr_and_the_code_is_2(tmp_path, capsys):
    path = tmp_path / "bad.toml"
    path.write_text(SCENARIO)
    assert main(["run", str(path)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert f"{path}: bed.mass_kg = 0: must be > 0." in err.splitlines()
    assert any("corner: 0 given, at least 3 needed." in line for line in err.splitlines())
    assert "Traceback" not in err


def test_a_missing_file_gives_2(tmp_path, capsys):
    assert main(["run", str(tmp_path / "none.toml")]) == 2
    assert "no such file" in capsys.readouterr().err


SCENARIOS = Path(__file__).parents[2] / "scenarios"
RIGID = str(SCENARIOS / "bent-rolled-rigid.toml")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (
            ("run", str(SCENARIOS / "sweeps" / "where-to-spend.toml")),
            "is the plan of a sweep, not a",
        ),
        (("sweep", RIGID), "is a scenario, not the plan of a sweep: use bedsim run"),
        (("run", "a.h5"), "is a result file (HDF5)"),
        (("size", "a.h5"), "bedsim report and bedsim compare take results"),
        (("sweep", "a.h5"), "is a result file (HDF5)"),
        (("diagnose", RIGID, "a.csv"), "a.csv: looks like a table of readings (CSV)"),
        (("run", RIGID, "--output", "x.csv"), "--output x.csv: a result file (HDF5) ends in .h5 or .hdf5"),
        (("sweep", RIGID, "--output", "x"), "--output x: a result file (HDF5) ends in .h5 or .hdf5"),
        (
            ("compare", RIGID, "--vary", "joint.kind=rigid,roling"),
            '--vary: joint.kind = "roling": must be one',
        ),
    ],
)
def test_a_file_or_value_in_the_wrong_place_is_one_line(tmp_path, monkeypatch, capsys, arguments, told):
    monkeypatch.chdir(tmp_path)
    Path("a.h5").write_bytes(b"\x89HDF\r\n\x1a\n and more")
    Path("a.csv").write_text("# probe = x\nposition_mm,angle_deg,reading_um\n1,2,3\n")
    assert main([*arguments]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert told in err and len(err.splitlines()) == 1
    assert {p.name for p in tmp_path.iterdir()} == {"a.h5", "a.csv"}


def test_each_option_answers_for_its_own_keys(capsys):
    assert main(["compare", RIGID, "--set", "print.layers=0", "--vary", "joint.kind=roling,rigid"]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert {line.split(" = ")[0] for line in lines} == {"--set: print.layers", "--vary: joint.kind"}


@pytest.mark.parametrize(
    ("name", "meant"),
    [("nothere.toml", None), ("bent-roled-rigid.toml", RIGID), ("bent-rolled-rigid", RIGID)],
)
def test_only_near_names_of_files_are_offered(capsys, name, meant):
    assert main(["run", str(SCENARIOS / name)]) == 2
    hint = f" Did you mean {meant}?" if meant else ""
    assert capsys.readouterr().err == f"{SCENARIOS / name}: no such file.{hint}\n"


def test_an_unknown_command_is_told_with_the_nearest_one(capsys):
    assert main(["rnu"]) == 2
    assert "there is no command 'rnu'. Did you mean run?" in capsys.readouterr().err


def test_an_unknown_option_gives_2(capsys):
    assert main(["run", "--engin", "x", "y.toml"]) == 2
    assert "--engine" in capsys.readouterr().err


def test_help_lists_the_commands_that_exist_and_no_others(capsys):
    assert main(["--help"]) == 0
    out = capsys.readouterr().out
    for name, (module, line) in cli.COMMANDS.items():
        exists = (Path(cli.__file__).parent / f"{module.rsplit('.', 1)[-1]}.py").exists()
        assert (line in out) == exists, name


def test_no_command_shows_the_help(capsys):
    assert main([]) == 0
    assert "Usage: bedsim" in capsys.readouterr().out


def test_version(capsys):
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"bedsim {bedsim.__version__}\n"


@pytest.mark.parametrize(
    ("fault", "code", "told"),
    [
        (SolverError("the solver stopped: step too small"), 3, "the solver stopped: step too small\n"),
        (KeyboardInterrupt(), 130, "bedsim: interrupted.\n"),
        (click.Abort(), 130, "bedsim: interrupted.\n"),
    ],
)
def test_faults_during_the_work_become_exit_codes(monkeypatch, tmp_path, capsys, fault, code, told):
    def fail(*_args, **_options):
        raise fault

    monkeypatch.setattr(bedsim.cli.new, "checked_text", fail)
    assert main(["new", str(tmp_path / "x.toml"), "--defaults"]) == code
    assert capsys.readouterr().err.endswith(told)


def test_a_fault_of_the_program_is_not_hidden(monkeypatch, tmp_path, capsys):
    def fail(*_args, **_options):
        raise ZeroDivisionError

    monkeypatch.setattr(bedsim.cli.new, "checked_text", fail)
    assert main(["new", str(tmp_path / "x.toml"), "--defaults"]) == 70
    err = capsys.readouterr().err
    assert err.startswith("bedsim ended by a fault of its own (ZeroDivisionError); the details are in ")
    details = Path(err.strip().rpartition(" in ")[2].removesuffix("."))
    assert "Traceback" in details.read_text()
    details.unlink()


def test_help_imports_nothing_heavy():
    """What makes `--help` slow is imported only by the command that needs it."""
    code = (
        "import sys; from bedsim.cli.main import main; main(['--help']);"
        "print([m for m in ('numpy', 'scipy', 'matplotlib', 'h5py', 'pydantic', 'rich') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_a_reader_that_goes_away_leaves_no_traceback():
    command = f"{sys.executable} -m bedsim new --schema | head -c 10"
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=False)
    assert done.stderr == ""
