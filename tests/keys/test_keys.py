"""Every key of a scenario, from the schema: its SI number by hand, and an answer that it moves."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from answers import ANSWERS, Answer, moved, whole
from built import Built, Row, load, write_base
from rows import ALSO, BALL, EXEMPT, LEAF, MAGNET, RESTING, RING, ROWS, SPRING, two

from bedsim.errors import InputError
from bedsim.power_loss import report as power_loss_report
from bedsim.scenario.idle import rules
from bedsim.scenario.keys import PARTS, is_number, list_section_of, section_of, unit_of
from bedsim.scenario.schema import Scenario, Section


def _leaves(table: type[Section], name: str = "") -> Iterator[tuple[str, Any]]:
    for key, field in table.model_fields.items():
        inner = section_of(field) or list_section_of(field)
        if inner is None:
            yield name + key, field
        else:
            part = name == "corner." and key in PARTS  # a part's key is named without its corner
            yield from _leaves(inner, f"{key}." if part else f"{name}{key}.")


FIELDS = dict(_leaves(Scenario))
IDS = [row.key for row in ROWS]
PINNED = "keys"


def test_every_key_has_a_line():
    """A key without a line is a key that nobody has seen act."""
    missing = [key for key in FIELDS if key not in IDS and key not in EXEMPT]
    assert not missing, (
        f"no line in tests/keys/rows.py for: {', '.join(missing)}. Add what is written in the key's unit, "
        "where its SI number is found, that number by hand, and the answer that it moves."
    )
    unknown = [key for key in (*IDS, *EXEMPT) if key not in FIELDS]
    assert not unknown, f"lines for keys that there are not: {', '.join(unknown)}"
    assert len(set(IDS)) == len(IDS)


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("keys")
    write_base(place)
    return place


@pytest.mark.parametrize("row", ROWS, ids=IDS)
def test_what_is_written_is_the_number_of_the_built_part(folder, row):
    built = Built(load(folder, row, changed=True))
    for look, expected in row.si:
        found = look(built)
        if isinstance(expected, str | bool):
            assert found == expected
        else:
            np.testing.assert_allclose(found, expected, rtol=1e-6, atol=1e-18)


STILL: dict[str, Answer] = {}
"""Answers of machines that rows share."""


def _beside(row: Row) -> str:
    return repr((row.corners, row.given, row.key if row.was is not None else "", row.was, row.moves))


def _still(folder: Path, row: Row) -> Answer:
    name = _beside(row)
    if name not in STILL:
        STILL[name] = ANSWERS[row.moves](load(folder, row, changed=False))
    return STILL[name]


def _named(rows: tuple[Row, ...]) -> dict[str, Row]:
    """A pin keeps its name when other keys come: rows of one key and one question are numbered, no others."""
    named: dict[str, Row] = {}
    for row in rows:
        name, earlier = f"{row.key} {row.moves}", 1
        while name in named:
            earlier += 1
            name = f"{row.key} {row.moves} {earlier}"
        named[name] = row
    return named


MOVING = _named((*ROWS, *ALSO))


@pytest.mark.parametrize("name", MOVING)
def test_every_key_moves_an_answer(folder, pins, name):
    row = MOVING[name]
    still, found = _still(folder, row), ANSWERS[row.moves](load(folder, row, changed=True))
    assert moved(still, found)
    pins.check(name, found, beside=still)
    pins.check(_beside(row), still)


def _written(key: str) -> Any:
    if key == "joint.element":
        return [{"x_mm": 20.0, "y_mm": 0.0, "lateral_n_per_mm": 1.0}]
    part = next((given[key] for given in (MAGNET, SPRING, BALL, RING, LEAF) if key in given), None)
    if part is not None:
        return part
    return next((row.write for row in ROWS if row.key == key), 1.0)  # of a key in EXEMPT any number


def _resting_rows() -> Iterator[Row]:
    for rule, every in zip(rules(), RESTING, strict=True):
        for key, given in product(rule.keys, every):
            share = key == "joint.element.load_share"
            place = f"corner.B.{key}" if rule.followers else "joint.element" if share else None
            yield Row(
                key=key,
                write=_written(key),
                was=two(0.5) if share else None,
                si=(),
                moves="",
                given=given,
                place=place,
            )


STRAYS = list(_resting_rows())


@pytest.mark.parametrize("row", STRAYS, ids=[row.key for row in STRAYS])
def test_a_key_that_does_nothing_is_refused_or_named(folder, row):
    try:
        assert load(folder, row, changed=True).resting
    except InputError as fault:
        assert "does nothing" in str(fault)


@pytest.mark.long
@pytest.mark.parametrize("row", STRAYS, ids=[row.key for row in STRAYS])
def test_a_key_that_does_nothing_moves_nothing(folder, row, monkeypatch):
    monkeypatch.setattr("bedsim.scenario.load.find_idle", lambda *_: {})
    name = f"whole {row.given!r} {row.was!r}"
    if name not in STILL:
        STILL[name] = whole(load(folder, row, changed=False))
    assert not moved(STILL[name], whole(load(folder, row, changed=True)))


NUMBERS = [row for row in ROWS if is_number(FIELDS[row.key]) and row.place is None]


@pytest.mark.parametrize("row", NUMBERS, ids=[row.key for row in NUMBERS])
def test_a_range_may_stand_in_place_of_every_number(folder, row):
    """Kept in the key's unit under its name; the machine is that of the likely value."""
    likely = float(row.write)
    low, high = sorted((0.99 * likely, likely))
    spread = {"low": low, "likely": likely if high == likely else low, "high": high, "basis": "measured"}
    ranged = load(folder, replace(row, write=spread), changed=True)
    found = [r for r in ranged.ranges if r.basis == "measured"]
    assert [(r.low, r.high, r.unit) for r in found] == [(low, high, unit_of(row.key))]
    assert found[0].key.split(".")[-1] == row.key.split(".")[-1]
    assert ranged.scenario == load(folder, replace(row, write=spread["likely"]), changed=True).scenario


def test_ends_of_ranges_that_a_falling_bed_counts_on(folder):
    """Low ends when nothing is sure, likely values as given, half of the friction when shaken."""
    given = {
        "nut.drag_torque_n_mm": {"low": 5, "likely": 12, "high": 20},
        "guide.friction_n": {"low": 0.5, "likely": 1.5, "high": 3},
        "motor.detent_torque_n_m": {"low": 0.01, "likely": 0.03, "high": 0.04},
        "motor.gear_ratio": 3,
        "nut.friction_coefficient": {"low": 0.004, "likely": 0.006, "high": 0.01},
        "sizing.vibration_friction": 0.5,
    }
    built = Built(
        load(
            folder, Row(key="sizing.brake_torque_n_m", write=0.02, si=(), moves="", given=given), changed=True
        )
    )
    machines = {
        case.name: power_loss_report.falling(built.loaded, built.numbers, built.machine, case, 2)
        for case in power_loss_report.cases(built.numbers)
    }
    # brake 0.02 N m and drag; lead 5 mm on 16 mm: tan(lambda) = 5/(16 pi), rho = atan(mu)
    for name, torque, guide, detent, friction in (
        ("as given, at rest", 0.032, 1.5, 0.09, 0.006),
        ("unfavourable, at rest", 0.025, 0.5, 0.03, 0.004),
        ("unfavourable, while lowering", 0.025, 0.5, 0.03, 0.004),
        ("unfavourable, shaken", 0.0225, 0.25, 0.03, 0.002),
    ):
        found, slope = machines[name], math.atan(5 / (16 * math.pi))
        assert found.torque[0] == pytest.approx(torque, rel=1e-9), name
        assert found.guide[0] == pytest.approx(guide, rel=1e-9), name
        assert found.detent[0] == pytest.approx(detent, rel=1e-9), name
        back = math.tan(slope - math.atan(friction)) / math.tan(slope)
        assert found.driven[0] == pytest.approx(back, rel=1e-9), name
        assert found.radius[0] == pytest.approx(5e-3 / (2 * math.pi), rel=1e-9)
