"""Every row of `bedsim size` against the hand sheet: value, limit, margin, unit, and the numbers in words.

A row that the sheet does not have, or has too many of, fails by name: `hand_sheet.py` says where to add it.
"""

import dataclasses
import math
import re
from pathlib import Path

import pytest
from hand_corner import Corner
from hand_decision import decision
from hand_drive import train
from hand_file import machine
from hand_sheet import sheet

from bedsim.analysis.sizing_gather import gather
from bedsim.analysis.sizing_report import size_scenario
from bedsim.scenario.load import load_scenario
from bedsim.sizing.machine import size_machine

MACHINES = sorted((Path(__file__).parent / "sheets").glob("*.toml"))
NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?:e[+-]?\d+)?|\binf(?:inite)?\b")


def printed(words):
    """(number, half of its last digit) of every number in a text."""
    found = []
    for text in NUMBER.findall(words):
        if text.startswith("inf"):
            found.append((math.inf, 0.0))
            continue
        digits, _, exponent = text.partition("e")
        places = len(digits.partition(".")[2]) - int(exponent or 0)
        if "." not in digits and abs(float(text)) >= 1000:  # zeros at the end of 95000 stand for its size
            places -= len(digits) - len(digits.rstrip("0"))
        found.append((float(text), 0.5 * 10.0**-places))
    return found


def compare(check, row):
    where = f"{check.corner}: {check.name}"
    assert check.unit == row.unit, where
    assert bool(check.missing) == row.lacks, where
    if row.numbers is None and math.isnan(row.value):
        return
    for name in ("value", "limit", "margin"):
        wanted = getattr(row, name)
        found = getattr(check, name)
        assert (found is None) == (wanted is None), f"{where}: {name}"
        if wanted is not None:
            close = pytest.approx(wanted, rel=row.rel, abs=1e-12, nan_ok=True)
            assert found == close, f"{where}: {name}"
    if row.numbers is None:
        return
    told = printed(f"{check.note} {check.missing}")
    assert len(told) == len(row.numbers), f"{where}: {check.note} {check.missing}: {row.numbers}"
    for (number, half), wanted in zip(told, row.numbers, strict=True):
        if math.isinf(wanted):
            assert number == wanted, where
        else:  # as much as rounding allows; shares of digits beyond 3 are cut by the row's own format
            assert abs(number - wanted) <= half + 1e-5 * abs(wanted), f"{where}: {number} is {wanted}"


def check_all(checks, lines):
    found, wanted = {}, {}
    for check in checks:
        found.setdefault((check.corner, check.subject, check.name), []).append(check)
    for corner, subject, name, row in lines:
        wanted.setdefault((corner, subject, name), []).append(row)
    assert set(found) == set(wanted)
    for key, rows in wanted.items():
        assert len(found[key]) == len(rows), key
        for check, row in zip(found[key], rows, strict=True):
            compare(check, row)


@pytest.mark.parametrize("file", MACHINES, ids=lambda f: f.stem)
def test_every_row(file):
    loaded = load_scenario(file)
    torques = [c.side_torque for c in gather(loaded).corners]
    check_all(size_scenario(loaded).all_checks, sheet(file, torques))


@pytest.mark.parametrize("file", MACHINES, ids=lambda f: f.stem)
def test_every_row_with_a_side_force_on_the_screws(file):
    """10, 20, 30 ... N mm on them: more than a motor needs to hold some of them."""
    machine = gather(load_scenario(file))
    torques = [0.01 * (k + 1) for k in range(len(machine.corners))]
    corners = [dataclasses.replace(c, side_torque=t) for c, t in zip(machine.corners, torques, strict=True)]
    checks = size_machine(dataclasses.replace(machine, corners=tuple(corners)))
    of_the_whole = ("slipped", " then", "takes off")  # rows that the assembled machine gives
    lines = [line for line in sheet(file, torques) if not any(w in line[2] for w in of_the_whole)]
    check_all(checks, lines)


@pytest.mark.parametrize("file", MACHINES, ids=lambda f: f.stem)
def test_the_corner_that_is_told_is_the_worst(file):
    """Of each row: the smallest margin; without a limit the largest value, or the smallest where less is
    worse."""
    less_is_worse = {
        "buckling load",
        "critical speed",
        "load on the mount at rest",
        "axial stiffness, softest",
        "recentring stiffness",
        "stiffness against turning with the screw",
        "pull of magnets and springs when warm",
    }
    loaded = load_scenario(file)
    lines = sheet(file, [c.side_torque for c in gather(loaded).corners])
    told = {(c.subject, c.name): c for c in size_scenario(loaded).checks}
    assert set(told) == {(subject, name) for _, subject, name, _ in lines}
    for (subject, name), check in told.items():
        rows = [row for _, s, n, row in lines if (s, n) == (subject, name)]
        if any(row.limit is not None for row in rows):
            wanted = min(row.margin for row in rows if row.margin is not None)
            assert check.margin == pytest.approx(wanted, rel=1e-5), name
        elif not any(math.isnan(row.value) for row in rows):
            values = [row.value for row in rows]
            wanted = min(values) if name in less_is_worse else max(values, key=abs)
            assert check.value == pytest.approx(wanted, rel=1e-5, abs=1e-12), name


@pytest.mark.parametrize("file", MACHINES, ids=lambda f: f.stem)
def test_every_row_of_the_screw_decision(file):
    loaded = load_scenario(file)
    wanted = decision(file, [c.side_torque for c in gather(loaded).corners])
    found = size_scenario(loaded).decision
    assert [row.name for row in found] == list(wanted)
    for row in found:
        ball, plain, unit = wanted[row.name]
        assert row.unit == unit
        for value, by_hand in ((row.ball, ball), (row.plain, plain)):
            assert (value is None) == (by_hand is None), row.name
            if value is not None:
                assert value == pytest.approx(by_hand, rel=1e-5, abs=1e-12), row.name


@pytest.mark.parametrize("file", MACHINES, ids=lambda f: f.stem)
def test_shares_of_the_axial_train_and_its_softest_corner(file):
    numbers, report = machine(file), size_scenario(load_scenario(file))
    trains = {c.name: train(c) for c in (Corner(numbers, k, 0.0) for k in range(len(numbers.corner)))}
    assert set(report.axial_shares) == set(trains)
    for name, parts in trains.items():
        whole = sum(parts.values())
        assert report.axial_shares[name] == pytest.approx({k: v / whole for k, v in parts.items()}, rel=1e-6)
    softest = sum(trains[report.softest_corner].values())
    assert softest == pytest.approx(max(sum(parts.values()) for parts in trains.values()))
