"""Corrected copies of motion programs against an evaluation of their paths that is written apart."""

import io
import math
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "program"))
from generated_programs import random_program
from scalar_reader import moves

from bedsim.compensate.rewrite import RewriteCount, rewritten
from bedsim.compensate.stretches import find_stretches
from bedsim.program.lexer import blocks
from bedsim.program.modes import ProgramState, follow

LEVEL = 5e-4


def by_stretch(count, seed, size=1.0):
    """Shifts of up to 0.05 mm and turns of up to 200 urad; none of the first stretch and after the last."""
    r = np.random.default_rng(seed)
    found = [size * r.uniform(-0.05, 0.05, count + 1) for _ in range(2)]
    found.append(size * r.uniform(-2e-4, 2e-4, count + 1))
    for values in found:
        values[[0, -1]] = 0.0
    return tuple(found)


def copy_of(text, by=None, seed=1):
    """The corrected copy, and what was done."""
    raw = text.encode()
    stretches = find_stretches(io.BytesIO(raw))
    count = RewriteCount()
    wanted = by or by_stretch(stretches.first.size, seed)
    out = b"".join(rewritten(io.BytesIO(raw), stretches, wanted, count))
    return out.decode(), wanted, count


def lays(move):
    plane = math.dist(move.start[:2], move.end[:2]) > 1e-7 or move.sweep
    return bool(plane) and move.extruded > 0


def stretch_of(every):
    """Stretch of each move: that of the next one that lays, in a straight count."""
    laid, number, last = [], -1, None
    for k, move in enumerate(every):
        if lays(move):
            if last is None or abs(move.end[2] - last) >= LEVEL:
                number += 1
            last = move.end[2]
            laid.append((k, number))
    found, at = [], 0
    for k in range(len(every)):
        while at < len(laid) and laid[at][0] < k:
            at += 1
        found.append(laid[at][1] if at < len(laid) else number + 1)
    return found


def point(move, share):
    if move.sweep:
        cx, cy = move.centre
        x, y = move.start[0] - cx, move.start[1] - cy
        size = math.hypot(x, y) + share * (math.dist(move.end[:2], move.centre) - math.hypot(x, y))
        angle = math.atan2(y, x) + share * move.sweep
        return cx + size * math.cos(angle), cy + size * math.sin(angle)
    return tuple(a + share * (b - a) for a, b in zip(move.start[:2], move.end[:2], strict=True))


def moved(place, by, k):
    a, b, w = (values[k] for values in by)
    x, y = place
    return a + x * math.cos(w) - y * math.sin(w), b + x * math.sin(w) + y * math.cos(w)


def check(text, seed):
    """Every laid move of the copy on 9 points, its heights and material; the number of moves compared."""
    out, by, _ = copy_of(text, seed=seed)
    before, after = moves(text), moves(out)
    extruded, state = [move.extruded for move in before], ProgramState()
    for block in blocks(io.BytesIO(text.encode())):
        rows, state = follow(block, state)
        extruded += [*rows.extruded]
    if any(0 < abs(e) < 1e-9 for e in extruded):
        return 0  # sums of E that cancel: whether that lays is a matter of rounding
    stretch = stretch_of(before)
    at = worst = compared = 0
    for k, one in enumerate(before):
        other = after[at]
        if (lays(one) or one.sweep) and not other.sweep and abs(other.extruded) < 1e-9:
            assert other.start[2] == other.end[2]  # a move ahead
            at += 1
            other = after[at]
        assert other.extruded == pytest.approx(one.extruded, abs=1e-9)
        assert other.end[2] == pytest.approx(one.end[2], abs=1e-9) and other.feed == one.feed
        if lays(one):
            compared += 1
            for share in np.linspace(0, 1, 9):
                to = moved(point(one, share), by, stretch[k])
                worst = max(worst, math.dist(point(other, share), to))
        at += 1
    assert at == len(after)
    assert worst < 8e-4  # mm: an arc by R may have its centre 0.5 um aside, and its ends are rounded
    return compared


@pytest.mark.parametrize("seed", range(25))
def test_copies_go_where_they_should(seed):
    check(random_program(seed), seed)


@pytest.mark.long
def test_ten_thousand_copies():
    assert sum(check(random_program(seed), seed) for seed in range(1000, 11_000)) > 100_000


def test_nothing_changes_where_nothing_is_to_be_changed():
    for seed in range(12):
        text = random_program(seed)
        raw = text.encode()
        count = find_stretches(io.BytesIO(raw)).first.size
        assert copy_of(text, by_stretch(count, 1, 0.0))[0] == text


def test_lines_without_places_stay_as_they_are():
    for seed in range(12):
        text = random_program(seed)
        kept = [x for x in text.splitlines() if not set("XYIJ") & set(x.upper())]
        out = iter(copy_of(text, seed=seed)[0].splitlines())
        assert all(any(line == x for x in out) for line in kept)
