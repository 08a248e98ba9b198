"""What shells offer, asked as click and as bash ask for it."""

from pathlib import Path

import pytest
from click.shell_completion import ShellComplete

from bedsim import registry
from bedsim.cli.completion import Bash
from bedsim.cli.main import group

RIGID = str(Path(__file__).parents[2] / "scenarios" / "bent-rolled-rigid.toml")
ASKED = {"cli": group, "ctx_args": {}, "prog_name": "bedsim", "complete_var": "_BEDSIM_COMPLETE"}


@pytest.mark.parametrize(
    ("words", "begun", "offered"),
    [
        ((), "ru", {"run"}),
        (("compare", "a.toml", "--engine"), "prop", {"propagator"}),
        (("size", "--set"), "joint.kind=ro", {"joint.kind=rolling"}),
        (("learn", "--then"), "guide.radial_n", {"guide.radial_n_per_um="}),
        (("gauge", "r.csv", "--grade"), "c1", {"C1", "C10"}),
        (("gauge", "r.csv", "--grade"), "iso 1", {"ISO 1", "ISO 10"}),
        (("diagnose", "--screws"), "un", {"unknown"}),
        (("learn", "--screws"), "C", {"C0", "C1", "C2", "C3", "C5", "C7", "C8", "C10"}),
        (("run", RIGID, "--probe"), "fr", {"front left", "front right"}),
        (("clock", RIGID, "--set", "print.layers=9", "--probe"), "cen", {"centre"}),
        (("compare", RIGID, RIGID), "--probe=back", {"back right", "back left"}),
        (("run", "none.toml", "--probe"), "", set()),
        (("new", "--example"), "bent-rolled-ro", {"bent-rolled-rolling-joints"}),
    ],
)
def test_names_are_offered(words, begun, offered):
    found = ShellComplete(**ASKED).get_completions(list(words), begun)
    assert {item.value for item in found} == offered


@pytest.mark.parametrize("words", [("run",), ("gauge", "--beside"), ("run", "a.toml", "--output")])
def test_files_are_left_to_the_shell(words):
    (found,) = ShellComplete(**ASKED).get_completions(list(words), "scen")
    assert (found.type, found.value) == ("file", "scen")


@pytest.mark.parametrize(
    ("words", "offered"),
    [
        (("run", "--set", "joint.kind", "=", "ro"), ["rolling"]),
        (
            ("run", "--set", "joint.kind", "=", "rigid", "--set", "screw.kind", "="),
            [*registry.names("screw")],
        ),
        (
            ("run", "--set", "print.layers", "=", "9", RIGID, "--probe", "fr"),
            [r"front\ left", r"front\ right"],
        ),
        (("gauge", "--grade", r"ISO\ 5"), [r"ISO\ 5"]),
    ],
)
def test_bash_takes_words_apart_and_gets_back_its_part(monkeypatch, words, offered):
    monkeypatch.setenv("COMP_WORDS", "\n".join(("bedsim", *words)))
    monkeypatch.setenv("COMP_CWORD", str(len(words)))
    lines = Bash(**ASKED).complete().split("\n")
    assert [line.removeprefix("plain,") for line in lines if line] == offered
