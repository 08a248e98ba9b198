"""Files that commands read and write: never one and the same, and of the kind that the ending says."""

import importlib
from pathlib import Path

import click
import pytest

from bedsim.cli.main import COMMANDS, main
from bedsim.cli.paths import Command, InputPath, OutputFolder, OutputPath
from bedsim.errors import ResultFileError
from bedsim.files import write_file, write_files

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def kinds(param):
    inner = param.type.types if isinstance(param.type, click.Tuple) else [param.type]
    return [kind for kind in inner if not isinstance(kind, click.types.StringParamType)]


WRITTEN = ("output", "write_to", "coupon", "blank", "file", "calendar", "keep", "page", "example", "copy")


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_tells_what_it_reads_and_writes(name):
    command = importlib.import_module(COMMANDS[name][0]).command
    assert isinstance(command, Command)
    for param in command.params:
        for kind in kinds(param):
            assert not isinstance(kind, click.Path | click.File), param.name
            if param.name in WRITTEN and kind.name in ("file", "folder"):
                assert isinstance(kind, OutputPath | OutputFolder), param.name
            elif kind.name == "file":
                assert isinstance(kind, InputPath), param.name


@pytest.fixture
def scenario(tmp_path):
    path = tmp_path / "machine.toml"
    path.write_bytes((SCENARIOS / "bent-rolled-rigid.toml").read_bytes())
    return path


@pytest.mark.parametrize("linked", [False, True])
def test_a_result_is_not_written_over_what_is_read(tmp_path, capsys, linked):
    result = tmp_path / "r.html"
    result.write_bytes(b"any bytes")
    output = result
    if linked:
        output = tmp_path / "other.html"
        output.hardlink_to(result)
    assert main(["report", str(result), "--output", str(output)]) == 2
    err = capsys.readouterr().err
    assert f"--output {output}: is the file {result} that this command reads" in err
    assert result.read_bytes() == b"any bytes"


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("run", "S", "--output", "x.toml"), "--output x.toml: a result file (HDF5) ends in .h5 or .hdf5"),
        (
            ("size", "S", "--output", "x.toml"),
            "--output x.toml: a picture ends in .png, .svg or .pdf, for example x.png",
        ),
        (("clock", "S", "--output", "x.csv"), "--output x.csv: a picture ends in .png, .svg or .pdf"),
        (("report", "S", "--output", "x.pdf"), "--output x.pdf: a report ends in .html or .htm"),
        (("new", "x.txt", "--defaults"), "FILE x.txt: a scenario ends in .toml, for example x.toml"),
        (("gauge", "--blank", "run-out", "x.xls"), "--blank x.xls: a table ends in .csv"),
        (("compare", "S", "S", "--output", "S"), "--output S: is a file; a folder belongs here"),
        (("run", "S", "--output", "."), "--output .: is a folder; a result file (HDF5) is a file"),
    ],
)
def test_an_output_of_another_kind_is_one_sentence(scenario, capsys, monkeypatch, words, message):
    monkeypatch.chdir(scenario.parent)
    before = {p: p.read_bytes() for p in scenario.parent.iterdir()}
    assert main([str(scenario) if w == "S" else w for w in words]) == 2
    err = capsys.readouterr().err
    assert message.replace("--output S", f"--output {scenario}") in err
    assert len(err.strip().splitlines()) == 1
    assert {p: p.read_bytes() for p in scenario.parent.iterdir()} == before


def test_several_files_appear_together_or_not_at_all(tmp_path, monkeypatch):
    files = {tmp_path / "a.toml": "a", tmp_path / "b.csv": b"b"}
    write_files(files)
    assert [(tmp_path / n).read_text() for n in ("a.toml", "b.csv")] == ["a", "b"]
    with pytest.raises(ResultFileError, match=r"c\.csv: cannot be written: the folder"):
        write_files({tmp_path / "a.toml": "new", tmp_path / "none" / "c.csv": "c"})
    assert (tmp_path / "a.toml").read_text() == "a"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.toml", "b.csv"]


def test_a_system_without_nameless_files_leaves_nothing_either(tmp_path, monkeypatch):
    monkeypatch.delattr("os.O_TMPFILE", raising=False)
    write_file(tmp_path / "a.txt", "text")
    monkeypatch.setattr("os.fsync", lambda _: (_ for _ in ()).throw(OSError(28, "No space left on device")))
    with pytest.raises(ResultFileError, match="No space left on device"):
        write_file(tmp_path / "a.txt", "other")
    assert (tmp_path / "a.txt").read_text() == "text"
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]
