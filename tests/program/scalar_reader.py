"""A motion program read line by line with one regular expression and a state machine: slow, and written apart
from bedsim's reader, to be held against it."""

import math
import re
from dataclasses import dataclass, field

WORD = re.compile(r"([A-Z])([+-]?(?:\d+\.?\d*|\.\d+))?")
NAME = re.compile(r"^\s*(?:N\s*\d+)?\s*[A-Z_]{3}")
FOREIGN = re.compile(r"^\s*(?:N\s*\d+)?\s*M\s*(\d+)")


@dataclass
class Move:
    line: int
    kind: int
    start: tuple[float, float, float]
    end: tuple[float, float, float]
    extruded: float
    feed: float
    centre: tuple[float, float] | None = None
    sweep: float = 0.0


@dataclass
class Machine:
    place: dict[str, float] = field(default_factory=lambda: dict.fromkeys("XYZE", 0.0))
    offset: dict[str, float] = field(default_factory=lambda: dict.fromkeys("XYZE", 0.0))
    kind: int | None = None
    unit: float = 1.0
    relative: bool = False
    relative_e: bool = False
    feed: float = 0.0

    def at(self) -> tuple[float, float, float]:
        x, y, z = (self.place[a] + self.offset[a] for a in "XYZ")
        return x, y, z


def words_of(line: str) -> list[tuple[str, float | None]] | None:
    """The words of a line; None: it is passed on."""
    text = line.upper()
    foreign = FOREIGN.match(text)
    if text.lstrip().startswith("%") or NAME.match(text):
        return None
    if foreign and int(foreign[1]) not in (*range(10), 30, 48, 49, 60, 82, 83):
        return None
    while "(" in text.split(";")[0]:
        begin = text.index("(")
        end = text.index(")", begin)
        text = text[:begin] + text[end + 1 :]
    text = re.sub(r"\*\s*\d+\s*$", "", text.split(";")[0])
    return [(a, None if b == "" else float(b)) for a, b in WORD.findall(re.sub(r"\s", "", text))]


def moves(text: str) -> list[Move]:
    """All moves of a program that is taken."""
    machine, found = Machine(), []
    for number, line in enumerate(text.split("\n"), 1):
        words = words_of(line)
        if words is None:
            continue
        g = [value for letter, value in words if letter == "G"]
        m = [value for letter, value in words if letter == "M"]
        if 2 in m or 30 in m:
            break
        rest = {letter: value for letter, value in words if letter not in "GM"}
        for value in g:
            machine.unit = {20: 25.4, 70: 25.4, 21: 1.0, 71: 1.0}.get(value, machine.unit)
            machine.relative = {90: False, 91: True}.get(value, machine.relative)
            machine.kind = int(value) if value in (0, 1, 2, 3) else machine.kind
        for value in m:
            machine.relative_e = {82: False, 83: True}.get(value, machine.relative_e)
        if {4, 10, 11, 29, 34} & set(g):
            continue
        if 28 in g:
            for axis in [a for a in "XYZ" if a in rest] or "XYZ":
                machine.place[axis] = machine.offset[axis] = 0.0
            continue
        if 92 in g:
            for axis in set("XYZE") & set(rest):
                machine.offset[axis] += machine.place[axis] - rest[axis] * machine.unit
                machine.place[axis] = rest[axis] * machine.unit
            continue
        if "F" in rest:
            machine.feed = rest["F"] * machine.unit / 60
        if set("XYZEIJR") & set(rest):
            found.append(step(machine, number, rest))
    return found


def step(machine: Machine, number: int, rest: dict[str, float]) -> Move:
    start, e = machine.at(), machine.place["E"]
    for axis in set("XYZE") & set(rest):
        by = machine.relative or (axis == "E" and machine.relative_e)
        machine.place[axis] = rest[axis] * machine.unit + (machine.place[axis] if by else 0.0)
    move = Move(number, machine.kind, start, machine.at(), machine.place["E"] - e, machine.feed)
    if machine.kind in (2, 3):
        move.centre, move.sweep = arc(move, rest, machine.unit)
    return move


def arc(move: Move, rest: dict[str, float], unit: float) -> tuple[tuple[float, float], float]:
    a, b = complex(*move.start[:2]), complex(*move.end[:2])
    way = 1 if move.kind == 3 else -1
    if "R" in rest:
        r = rest["R"] * unit
        half = math.asin(min(abs(b - a) / 2 / abs(r), 1.0))  # half the angle of the shorter arc
        angle = 2 * half if r > 0 else 2 * math.pi - 2 * half
        centre = a + (b - a) / 2 * (1 + 1j * way / math.tan(angle / 2))
    else:
        centre = a + complex(rest.get("I", 0.0), rest.get("J", 0.0)) * unit
        turned = math.atan2(((b - centre) / (a - centre)).imag, ((b - centre) / (a - centre)).real) * way
        angle = turned % (2 * math.pi) if abs(b - a) > 1e-9 else 2 * math.pi
    return (centre.real, centre.imag), way * angle
