"""A short, seeded run of odd inputs to every door; `python tests/faults` brings more."""

import random

import doors
import pytest


@pytest.mark.parametrize("seed", range(4))
def test_every_door_answers_with_a_sentence(tmp_path, seed):
    (tmp_path / "out").mkdir()
    for visit in doors.visits(tmp_path, random.Random(seed), 18):
        assert not visit.fault, (visit.door, visit.fault, visit.brought, visit.said)
