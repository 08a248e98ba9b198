"""Command lines that nobody would give, made from the options that the commands have."""

from __future__ import annotations

import random

import click

from bedsim.cli.main import COMMANDS, group

VALUES = (
    *(
        "0",
        "1",
        "-1",
        "3",
        "0.5",
        "1e308",
        "-1e308",
        "1e-320",
        "nan",
        "inf",
        "-inf",
        "1e400",
        "0x7f",
        "1_0",
        "²",
    ),
    *("", " ", "a", "x" * 5000, "\x1b[2J", "\u202eabc", "é", "--", "-", "%s", "{}", "\udcff", "a\nb"),
    *(
        "print.layers=2",
        "[[[[=]]",
        "print.layers=",
        "=3",
        "a.b.c=1",
        "screw.lead_mm=nan",
        "bed={}",
        "corner=[]",
        "x\x1b=1",
    ),
    "corner.left.x_mm=1e308",
    *("lateral_pv_um<=1", "lateral_pv_um<nan", "joint.kind=rigid,rolling", "=,="),
    *("propagator", "equilibrium", "reference", "C7", "ISO 5", "C99", "run-out", "decay", "+X", "-Y", "45"),
    *("centre", "front", "0,0", "9,9", "-1,1", "1,999999999999", "tcp://127.0.0.1:1x", "barten", "expected"),
)
FILES = (
    *("none.toml", "none.csv", "none.h5", "machine.toml", "plan.toml", "g.csv", "whole.h5", "swept.h5"),
    *(".", "out", "/dev/null", "", "a/b/c.png", "x.png", "x.h5", "x.html", "x.csv", "x.toml", "\x1b[2J.toml"),
    *("machine.toml/x.png", "n\udcffx.toml", "o" * 300 + ".toml", "spares.toml", "words.txt", "zero\0.csv"),
)
MISSING = ("none.toml", "none.csv", "none.h5", "", "zero\0.csv", "lot.csv", "/dev/null", "words.txt")


def words_of(rng: random.Random) -> list[str]:
    """Words of one command line: a command, zero to four of its options with odd values, and files."""
    name = rng.choice(list(COMMANDS))
    command = group.get_command(click.Context(group), name)
    assert command is not None
    options = [p for p in command.params if isinstance(p, click.Option)]
    words = [name]
    for option in rng.choices(options, k=rng.randint(0, 4)):
        words += [rng.choice(option.opts), *_values(option, rng)]
    for argument in command.params:
        if isinstance(argument, click.Argument) and rng.random() < 0.95:
            # most files are none: what the options say is read before them, and long work is seldom begun
            words.append(rng.choice(MISSING if rng.random() < 0.9 else FILES))
    if rng.random() < 0.05:
        words.insert(rng.randrange(len(words) + 1), rng.choice(VALUES))
    if name == "sweep" and "--scheduler" in words:  # ten seconds of patience are not for every visit
        words = [w for w in words if w != "--scheduler"]
    return words


def _values(option: click.Option, rng: random.Random) -> list[str]:
    if option.is_flag or rng.random() < 0.03:
        return []
    count = max(option.nargs, 1)
    fitting = _fitting(option)
    odd = (*VALUES, *FILES)
    return [rng.choice(fitting if fitting and rng.random() < 0.4 else odd) for _ in range(count)]


def _fitting(option: click.Option) -> tuple[str, ...]:
    if isinstance(option.type, click.Choice):
        return tuple(map(str, option.type.choices))
    return ("0.5", "2", "80", "0.3") if isinstance(option.type, click.types.FloatParamType) else ()
