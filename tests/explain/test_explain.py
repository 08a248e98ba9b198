"""Every key, quantity, row, grade and kind answers to `explain`; unknown words get the nearest."""

from __future__ import annotations

import inspect
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from bedsim import registry
from bedsim.cli.main import main
from bedsim.errors import InputError
from bedsim.explain.book import every_entry, find
from bedsim.explain.entry import Entry
from bedsim.explain.moves import moved_by
from bedsim.explain.text import WIDTH, entry_lines
from bedsim.quantities import REPORTED
from bedsim.results.schema import DATASETS
from bedsim.scenario.keys import PARTS, list_section_of, section_of
from bedsim.scenario.schema import Scenario, Section
from bedsim.screws import grades
from bedsim.sizing.machine import SUBJECTS

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def _leaves(table: type[Section], name: str = "") -> Iterator[str]:
    for key, field in table.model_fields.items():
        inner = section_of(field) or list_section_of(field)
        if inner is None:
            yield name + key
        else:
            part = name == "corner." and key in PARTS
            yield from _leaves(inner, f"{key}." if part else f"{name}{key}.")


KEYS = [*_leaves(Scenario)]


def told(entry: Entry) -> dict[str, str]:
    return {fact.label: fact.text for fact in entry.all_facts}


def one(name: str, sort: str) -> Entry:
    found = [entry for entry in find(name) if entry.sort == sort]
    assert found, f"{name}: no {sort} of this name"
    return found[0]


@pytest.mark.parametrize("key", KEYS)
def test_every_key_says_what_it_is_how_much_is_usual_and_how_it_is_measured(key):
    entry = one(key, "key")
    assert entry.name == key
    assert len(entry.what.split()) >= 2
    labels = told(entry)
    assert labels["allowed"] and labels["usual"] and labels["measured by"]
    assert "\n".join(entry_lines(entry))


TABLES_OF_NO_PART = ("output", "target", "prices", "probe", "learnt", "upkeep.weights")
"""Tables that say what is asked or kept, and of no part of the machine."""


def test_every_number_of_a_machine_has_its_formula():
    """Its part's docstring, or that of the function that reads it."""
    silent = []
    for entry in (e for e in every_entry() if e.sort == "key" and "unit" in told(e)):
        labels = " ".join(told(entry))
        if "formula" not in labels and "what is made" not in labels:
            silent.append(entry.name)
    assert not [name for name in silent if name.rpartition(".")[0] not in TABLES_OF_NO_PART], silent


@pytest.mark.parametrize("quantity", [q.name for q in REPORTED])
def test_every_quantity_of_the_engines_answers(quantity):
    entry = one(quantity, "quantity")
    assert told(entry)["unit"]
    assert "computed in" in " ".join(told(entry))


def test_every_dataset_of_a_result_answers_by_its_name():
    names = {entry.name.rpartition(".")[2] for entry in every_entry() if entry.sort == "quantity"}
    labels = {"axis", "rotation", "bed_coordinate"}  # names of the entries of an axis
    assert {d.name for d in DATASETS if "layers" in d.group} - labels <= names


@pytest.mark.parametrize("row", [row for subject in SUBJECTS for row in subject.rows], ids=lambda r: r.key)
def test_every_row_of_size_has_formula_and_source(row):
    entry = one(row.key, "row of size")
    labels = told(entry)
    assert labels["computed in"]
    assert ("formula" in labels and "source" in labels) == bool(row.formula)
    assert "{" not in labels.get("formula", "") + labels.get("source", "") + entry.what


@pytest.mark.parametrize("standard", ["ISO", "JIS"])
def test_every_grade_tells_its_limits_with_status_and_source(standard):
    for grade in grades.grades_of(standard):
        for word in (str(grade), grade.name, f"{standard} {grade.name}"):
            limits = told(one(word, "grade"))["limits"]
            assert all(
                "; found:" in x or "; from memory:" in x or "; by order:" in x for x in limits.split("\n")
            )


def test_every_kind_answers():
    for part in registry.parts():
        for kind in registry.kinds(part):
            assert kind.sentence in one(f"{part}.kind={kind.name}", "kind").what


def test_words_to_see_are_there():
    for entry in every_entry():
        for word in entry.see:
            assert find(word), f"{entry.name} points at {word}"


def test_lines_fit_a_terminal():
    for entry in every_entry():
        prose = [line for line in entry_lines(entry) if not line.startswith("    ")]
        assert max(map(len, prose)) <= WIDTH + 40, entry.name  # a single long word is not broken


def test_names_of_several_parts_are_all_told():
    assert len(find("height_mm")) == 5
    assert [entry.name for entry in find("guide.height_mm")] == ["guide.height_mm"]


@pytest.mark.parametrize(
    ("wrong", "meant"),
    [("guide.radal", "guide.radial_n_per_um"), ("lateral_pw", "lateral_pv"), ("bow_tir", "bow_tir_um")],
)
def test_an_unknown_word_gets_the_nearest(wrong, meant):
    with pytest.raises(InputError, match=meant):
        find(wrong)


def test_a_message_leads_to_what_says_it():
    from bedsim.analysis import cautions

    entry = find("the mount at back left would need a pull of 3.2 N: the bed lifts off there.")[0]
    assert entry.sort == "message"
    assert inspect.cleandoc(cautions.__doc__ or "") in "".join(told(entry).values())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nonsense_of_mine"], "WHAT"),
        ([str(SCENARIOS / "four-screws.toml")], "WHAT"),
        (["TIR", "--set", "print.layers=4"], "--set"),
        (["TIR", "nowhere.toml"], "nowhere.toml"),
    ],
)
def test_bad_input_gets_one_message(words, said, capsys):
    assert main(["explain", *words]) == 2
    told = capsys.readouterr()
    assert said in told.err and "Traceback" not in told.err
    assert not told.out


def test_without_a_word_it_lists_what_there_is(capsys):
    assert main(["explain"]) == 0
    assert "of the sort key: title" in capsys.readouterr().out


def test_what_a_key_moves_in_a_machine(shipped):
    """A bolted nut against a softer frame: sideways error and side force follow, heights do not."""
    loaded = shipped("bent-rolled-rigid", "print.layers=6")
    found = {m.answer: m for m in moved_by(loaded, "frame.tangential_n_per_um")[0].moves}
    assert found["lateral error, peak to valley"].share > 0.1
    assert "side force on a guide, largest" in found
    assert not moved_by(loaded, "output.trace_layers")[0].moves
    assert moved_by(loaded, "joint.kind")[0].now == "rigid"


def test_a_word_alone_loads_no_solver():
    """Importing them took three quarters of its time."""
    asked = (
        "import sys; from bedsim.cli.main import main; main(['explain', 'guide.radial_n_per_um']); "
        "print([m for m in ('scipy.stats', 'bedsim.simulation', 'matplotlib') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=False)
    assert done.stdout.splitlines()[-1] == "[]", done.stdout + done.stderr
