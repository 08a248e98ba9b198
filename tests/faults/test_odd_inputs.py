"""A short, seeded run of odd inputs to every door; `python tests/faults` brings more."""

import random

import doors
import pytest


@pytest.mark.parametrize("seed", range(3))
def test_every_door_answers_with_a_sentence(tmp_path, seed):
    for visit in doors.visits(tmp_path, random.Random(seed), 150):
        assert not visit.fault, (visit.door, visit.fault, visit.brought, visit.said)


def test_every_door_lets_sound_files_in(tmp_path, monkeypatch):
    """What is refused only shows something where what is sound is not."""
    monkeypatch.setattr(doors.mutants, "toml", lambda text, rng: text.encode())
    monkeypatch.setattr(doors.mutants, "csv", lambda text, rng: text.encode())
    house, rng = doors.House(tmp_path), random.Random(1)
    reached = {
        "scenario": "none.csv: cannot be read: no such file.",
        "tables": "none.csv: cannot be read: no such file.",
        "spares": "there is no such probe",
        "spare tables": "there is no such probe",
        "lot": "--member = x: must be two whole numbers",
    }
    for name, words in reached.items():
        visit = doors.DOORS[name][0](house, rng)
        assert words in visit.said and not visit.fault
    for name in ("size", "history", "gauge", "diagnose"):
        assert doors.DOORS[name][0](house, rng).code in (0, 1), name
