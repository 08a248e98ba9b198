"""Inputs that nobody would write, made from those that somebody did: seeded, without end."""

from __future__ import annotations

import copy
import json
import math
import random
import re
from collections.abc import Callable
from typing import Any

ODD = (
    *("0", "-1", "1e308", "-1e308", "1e-320", "nan", "inf", "-inf", "999999999999999999999", "0x7f", "1_0"),
    *("true", '""', '"a"', '"\\u001b[2J"', "[]", "[1, 2, 3]", "{}", "{low = 2, likely = 1, high = 0}"),
    *("{low = 1, likely = 1, high = 1, basis = 'measured'}", "1979-05-27", "'''x'''", "[[]]", "[{}]", ""),
)
ODD_JSON = (
    0,
    -1,
    1e308,
    1e-320,
    math.nan,
    -math.inf,
    10**40,
    True,
    None,
    "",
    "a",
    "\x1b[2J",
    [],
    [1, 2, 3],
    {},
    {"low": 2},
)
LINES = (
    "x = 1",
    "[bed]",
    "[[corner]]",
    "[screw]\nlead_mm = 4",
    "a." * 400 + "b = 1",
    "[" + "a." * 200 + "b]",
    "t = " + "[" * 300 + "]" * 300,
    "é = 1",
    "\x00",
    "k" * 5000 + " = 1",
    "screw.lead_mm = 5",
    "print = 3",
)


def toml(text: str, rng: random.Random) -> bytes:
    """A scenario or plan with one to three things changed."""
    for _ in range(rng.randint(1, 3)):
        text = rng.choice(_TOML)(text, rng)
    return _bytes(text.encode("utf-8", "surrogatepass"), rng, often=0.1)


ODD_WORDS = (
    *(
        "G18",
        "G20",
        "G54",
        "G91",
        "G92 X5 Z1",
        "G28 X",
        "G2 X5",
        "G3 I0",
        "X1e9",
        "X",
        "G",
        "Z-5",
        "F0",
        "E1e5",
    ),
    *(
        "#1=5",
        "[1+2]",
        "/",
        "%",
        "(",
        ")",
        "; x",
        "*9",
        "M2",
        "M117 \x1b[2J G1",
        "ODD_NAME A=1",
        "\r",
        "\x00",
        "é",
    ),
    *(
        "X99999999999999999999",
        "G1.5",
        "R-3",
        "P1e9",
        "G4 S1e9",
        "M83",
        "M82",
        "G1 X1 X2",
        "N5",
        "-",
        ".",
        "+",
    ),
)


def program(text: str, rng: random.Random) -> bytes:
    """A motion program with one to four words or lines changed."""
    for _ in range(rng.randint(1, 4)):
        lines = text.split("\n")
        at, do = rng.randrange(len(lines)), rng.randrange(5)
        if do == 0:
            lines.insert(at, rng.choice(ODD_WORDS))
        elif do == 1:
            lines[at] += " " + rng.choice(ODD_WORDS)
        elif do == 2:
            lines.insert(at, rng.choice(lines))
        elif do == 3:
            lines.pop(at)
        else:
            words = lines[at].split(" ")
            words[rng.randrange(len(words))] = rng.choice(ODD_WORDS)
            lines[at] = " ".join(words)
        text = "\n".join(lines)
    return _bytes(text.encode("utf-8", "surrogatepass"), rng, often=0.1)


def _value(text: str, rng: random.Random) -> str:
    places = list(re.finditer(r"(?m)^(\s*[\w.]+\s*=\s*)(.*)$", text))
    if not places:
        return text
    found = rng.choice(places)
    return text[: found.start(2)] + rng.choice(ODD) + text[found.end(2) :]


def _line(text: str, rng: random.Random) -> str:
    lines = text.splitlines()
    at = rng.randrange(len(lines) + 1)
    do = rng.randrange(4)
    if do == 0:
        lines.insert(at, rng.choice(LINES))
    elif lines and do == 1:
        lines.pop(min(at, len(lines) - 1))
    elif lines and do == 2:
        lines.insert(at, rng.choice(lines))
    else:
        rng.shuffle(lines)
    return "\n".join(lines)


def _letter(text: str, rng: random.Random) -> str:
    if not text:
        return text
    at = rng.randrange(len(text))
    return text[:at] + rng.choice("abz_.=[]{}\"'#\n\t ,;-+09é\x1b\x00") + text[at + rng.randint(0, 1) :]


_TOML: tuple[Callable[[str, random.Random], str], ...] = (_value, _value, _line, _letter)


def tree(text: str, rng: random.Random) -> bytes:
    """A JSON file that a program wrote, with one to three values changed, or letters and lines."""
    if rng.random() < 0.3:
        return toml(text, rng)
    found = json.loads(text)
    for _ in range(rng.randint(1, 3)):
        _odd_inside(found, rng)
    return json.dumps(found, indent=1).encode()


def _odd_inside(found: Any, rng: random.Random) -> None:
    """One value, however deep, becomes an odd one or goes."""
    place = rng.choice(list(found) if isinstance(found, dict) else range(len(found)))
    if isinstance(found[place], dict | list) and found[place] and rng.random() < 0.8:
        _odd_inside(found[place], rng)
    elif rng.random() < 0.2:
        del found[place]
    else:
        found[place] = copy.deepcopy(rng.choice(ODD_JSON))  # it may be changed further


def word(text: str, rng: random.Random) -> str:
    """A name with up to two letters changed, or another thing."""
    if rng.random() < 0.1:
        return rng.choice(LINES)
    for _ in range(rng.randint(0, 2)):
        text = _letter(text, rng)
    return text


def csv(text: str, rng: random.Random) -> bytes:
    """A table of readings with one to three things changed."""
    for _ in range(rng.randint(1, 3)):
        text = rng.choice((_cell, _cell, _line, _letter))(text, rng)
    return _bytes(text.encode("utf-8", "surrogatepass"), rng, often=0.1)


def _cell(text: str, rng: random.Random) -> str:
    rows = [line.split(",") for line in text.splitlines()]
    row = rng.choice(rows) if rows else []
    if row:
        row[rng.randrange(len(row))] = rng.choice((*ODD, "1,5", "  ", "-0", "1e400", "x" * 3000))
    return "\n".join(",".join(r) for r in rows)


def binary(data: bytes, rng: random.Random) -> bytes:
    """A result file with bytes changed, lost or added."""
    return _bytes(data, rng, often=1.0)


def _bytes(data: bytes, rng: random.Random, often: float) -> bytes:
    if rng.random() >= often or not data:
        return data
    at = rng.randrange(len(data))
    length = min(rng.choice((1, 1, 8, 64, 600)), len(data) - at)
    do = rng.randrange(4)
    if do == 0:
        return data[:at]
    if do == 1:
        return data[:at] + rng.randbytes(length) + data[at + length :]
    if do == 2:
        return data[:at] + bytes(length) + data[at + length :]
    return data[:at] + rng.randbytes(length) + data[at:]
