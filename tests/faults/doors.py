"""Every door that files and options come in by, and what a visit may end with."""

from __future__ import annotations

import contextlib
import io
import os
import random
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import bases
import mutants
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "program"))
from generated_programs import random_program
from option_words import MISSING, words_of

from bedsim.cli.main import main
from bedsim.compensate.read_back import WrittenPieces, read_again
from bedsim.compensate.rewrite import RewriteCount, rewritten
from bedsim.compensate.stretches import find_stretches
from bedsim.errors import SolverError
from bedsim.metrology.picture_input import png_bytes
from bedsim.program.fault import ProgramError
from bedsim.results.store import write_run
from bedsim.scenario.load import load_scenario
from bedsim.simulation import simulate
from bedsim.sweep import pool
from bedsim.sweep.plan import load_plan
from bedsim.sweep.run import run_sweep

CODES = (0, 1, 2, 3)
MADE = (".csv", ".html", ".json", ".toml")
SPEECHLESS = re.compile(r"(?<![\w.\"'/-])-?(nan|inf)(?![\w.\"'])")
"""A number that is none, as Python prints it; in quotes it is what somebody wrote."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """`door`, what was brought, and what came of it; `written`: text of the files that it made."""

    door: str
    brought: bytes
    code: int
    said: str
    written: str = ""

    @property
    def fault(self) -> str:
        """What is wrong with the answer; empty where nothing is."""
        if self.code not in CODES:
            return f"exit code {self.code}"
        if "Traceback" in self.said:
            return "a traceback"
        if self.code == 2 and not self.said.strip():
            return "refused without a word"
        if not self.said.replace("\n", "").replace("\t", "").replace("\xa0", "").isprintable():
            return "a control character"
        if self.code in (0, 1) and SPEECHLESS.search(self.said):
            return "a number that is none"
        if self.code in (0, 1) and SPEECHLESS.search(self.written):
            return "a number that is none, in a file"
        return ""


class House:
    """A folder with a sound file of every kind, where visits are received."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        texts = {
            "machine.toml": bases.SCENARIO,
            "plan.toml": bases.PLAN,
            "lot.csv": bases.LOT,
            "offsets.csv": bases.OFFSETS,
            "travel.csv": bases.TRAVEL,
            "history.csv": bases.HISTORY,
            "g.csv": bases.RUN_OUT,
            "p.csv": bases.PHOTO,
            "spares.toml": bases.SPARES,
            "part.nc": bases.PROGRAM,
            "printed.toml": bases.SCENARIO.replace("layers = 8\nlayer_mm = 0.2\n", 'program = "part.nc"\n'),
            "shaken.toml": bases.SCENARIO + bases.HISTORY_KEYS,
            "tables.toml": bases.SCENARIO.replace(
                "[nut]", '[screw.run_out]\ntable = "offsets.csv"\n[screw.travel]\ntable = "travel.csv"\n[nut]'
            ),
        }
        for name, text in texts.items():
            (folder / name).write_text(text, "utf-8")
        texts["taught.toml"] = bases.SCENARIO + '[learnt]\nfile = "taught.json"\n'
        loaded = load_scenario(folder / "machine.toml")
        texts["taught.json"] = bases.knowledge(loaded).model_dump_json(indent=1)
        for name in ("taught.toml", "taught.json"):
            (folder / name).write_text(texts[name], "utf-8")
        write_run(simulate(loaded, "equilibrium"), folder / "whole.h5")
        run_sweep(load_plan(folder / "plan.toml"), folder / "swept.h5", pool.here)
        self.whole, self.swept = (folder / "whole.h5").read_bytes(), (folder / "swept.h5").read_bytes()
        self.texts = texts
        self.picture = png_bytes(np.random.default_rng(1).integers(60, 200, (160, 120)).astype(float))
        (folder / "p.png").write_bytes(self.picture)

    def visit(self, door: str, name: str, data: bytes, words: Sequence[str]) -> Visit:
        """Put the bytes at `name`, give the command, put things back."""
        file = self.folder / name
        file.write_bytes(data)
        out, err, here = io.StringIO(), io.StringIO(), Path.cwd()
        os.chdir(self.folder)
        try:
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
                code = main(list(words))
        finally:
            os.chdir(here)
        if name in self.texts:
            file.write_text(self.texts[name], "utf-8")
        else:
            file.unlink(missing_ok=True)
        said = out.getvalue() + err.getvalue()
        return Visit(door=door, brought=data, code=code, said=said, written=self._made())

    def _made(self) -> str:
        """Text of tables, pages and keys that a visit has made, which are taken away."""
        texts = []
        for path in self.folder.rglob("*"):
            if path.suffix in MADE and path.name not in self.texts and path.is_file():
                texts.append(path.read_text("utf-8", "replace"))
                path.unlink()
        return "\n".join(texts)


def visits(folder: Path, rng: random.Random, count: int, doors: Sequence[str] = ()) -> Iterator[Visit]:
    """So many visits: the doors in turn, those that cost more less often."""
    house = House(folder)
    chosen = {name: DOORS[name] for name in doors or DOORS}
    turns = [door for door, often in chosen.values() for _ in range(often)]
    rng.shuffle(turns)
    for k in range(count):
        yield turns[k % len(turns)](house, rng)


def _quick_scenario(house: House, rng: random.Random) -> Visit:
    """A scenario is read before the readings, which are not there."""
    own = (bases.SCENARIO, bases.SCENARIO + bases.SECTIONS)
    text = rng.choice(own if rng.random() < 0.5 else [p.read_text("utf-8") for p in bases.SHIPPED])
    data = mutants.toml(text, rng)
    return house.visit("scenario", "s.toml", data, ["diagnose", "none.csv", "s.toml"])


def _sized(house: House, rng: random.Random) -> Visit:
    options = rng.choice(([], [], ["--power-loss"], ["--every-corner"]))
    data = mutants.toml(bases.SCENARIO, rng)
    return house.visit("size", "s.toml", data, ["size", "s.toml", "--no-pictures", *options])


def _run(house: House, rng: random.Random) -> Visit:
    words = ["run", "s.toml", "--engine", "equilibrium", "--no-pictures", "--no-ranges", "--output", "r.h5"]
    return house.visit("run", "s.toml", mutants.toml(bases.SCENARIO, rng), words)


def _named_table(house: House, rng: random.Random) -> Visit:
    name = rng.choice(("offsets.csv", "travel.csv"))
    data = mutants.csv(house.texts[name], rng)
    return house.visit("tables", name, data, ["diagnose", "none.csv", "tables.toml"])


def _history(house: House, rng: random.Random) -> Visit:
    words = ["size", "shaken.toml", "--shake", "--no-pictures"]
    return house.visit("history", "history.csv", mutants.csv(bases.HISTORY, rng), words)


def _compensated(house: House, rng: random.Random) -> Visit:
    """A scenario is read before its program is asked for, which is not there."""
    data = mutants.toml(bases.SCENARIO, rng)
    return house.visit("compensate", "s.toml", data, ["compensate", "s.toml", "--program", "copy.nc"])


def _program(house: House, rng: random.Random) -> Visit:
    """A part's own program, read with its scenario; now and then it is printed."""
    data = mutants.program(bases.PROGRAM, rng)
    words = [
        "run",
        "printed.toml",
        "--engine",
        "equilibrium",
        "--no-pictures",
        "--no-ranges",
        "--output",
        "r.h5",
    ]
    few = ["diagnose", "none.csv", "printed.toml"]
    return house.visit("program", "part.nc", data, words if rng.random() < 0.1 else few)


def _copied(house: House, rng: random.Random) -> Visit:
    """A program through the rewriter, with shifts and turns of its own, read again beside itself: it is
    refused in words, or its copy is what it should be."""
    text = bases.PROGRAM if rng.random() < 0.3 else random_program(rng.randrange(10**6), 30)
    data = mutants.program(text, rng) if rng.random() < 0.9 else text.encode()
    code, said = 0, ""
    try:
        stretches = find_stretches(io.BytesIO(data))
        size = stretches.first.size + 1
        shifts = [[rng.uniform(-far, far) for _ in range(size)] for far in (0.05, 0.05, 2e-4)]
        inner = np.isin(np.arange(size), (0, size - 1), invert=True)  # none ahead of the part and behind it
        by = tuple(np.array(v) * inner for v in shifts)
        pieces = [*rewritten(io.BytesIO(data), stretches, by, RewriteCount())]
        read_again(io.BytesIO(data), WrittenPieces(pieces), stretches, by, by)
    except ProgramError as fault:
        code, said = 2, str(fault)
    except SolverError as fault:
        code, said = 70, str(fault)
    return Visit(door="copy", brought=data, code=code, said=said)


def _spares(house: House, rng: random.Random) -> Visit:
    """Spares are read before the probe is looked for, which is not there."""
    words = ["clock", "machine.toml", "--spares", "sp.toml", "--probe", "?"]
    return house.visit("spares", "sp.toml", mutants.toml(bases.SPARES, rng), words)


def _spare_table(house: House, rng: random.Random) -> Visit:
    name = rng.choice(("offsets.csv", "travel.csv"))
    data = mutants.csv(house.texts[name], rng)
    words = ["clock", "machine.toml", "--spares", "spares.toml", "--probe", "?"]
    return house.visit("spare tables", name, data, words)


def _plan(house: House, rng: random.Random) -> Visit:
    text = bases.PLAN if rng.random() < 0.8 else rng.choice(bases.PLANS).read_text("utf-8")
    return house.visit("plan", "p.toml", mutants.toml(text, rng), ["sweep", "p.toml", "--member", "x"])


def _lot(house: House, rng: random.Random) -> Visit:
    words = ["sweep", "plan.toml", "--member", "x"]
    return house.visit("lot", "lot.csv", mutants.csv(bases.LOT, rng), words)


def _gauge(house: House, rng: random.Random) -> Visit:
    kind = rng.choice(list(bases.GAUGES))
    graded = ["--grade", "C7", "--set", "diameter_mm=12"] if kind in ("run-out", "jog", "extremes") else []
    more = rng.choice(([], [], ["--corner"], ["--drop-outliers"], graded))
    words = ["gauge", "r.csv", "--no-pictures", "--output", "out", *more]
    return house.visit(f"gauge {kind}", "r.csv", mutants.csv(bases.GAUGES[kind], rng), words)


def _photo(house: House, rng: random.Random) -> Visit:
    """A table mutated, or the picture that it names."""
    words = ["gauge", "p.csv", "--no-pictures", "--output", "out"]
    if rng.random() < 0.5:
        return house.visit("photo", "p.csv", mutants.csv(bases.PHOTO, rng), words)
    visit = house.visit("photo", "p.png", mutants.binary(house.picture, rng), words)
    (house.folder / "p.png").write_bytes(house.picture)
    return visit


def _readings(house: House, rng: random.Random) -> Visit:
    text = rng.choice((bases.BANDS, bases.EIGHTHS, bases.LOG))
    words = ["diagnose", "b.csv", "machine.toml", "--set", "guide.friction_n=0"]
    return house.visit("diagnose", "b.csv", mutants.csv(text, rng), words)


def _learn(house: House, rng: random.Random) -> Visit:
    """Readings are read before the table that is not there."""
    kind = rng.choice((bases.BANDS, bases.EIGHTHS, *bases.GAUGES.values()))
    data = mutants.csv(kind, rng)
    return house.visit("learn", "b.csv", data, ["learn", "b.csv", "none.csv", "machine.toml"])


def _tug(house: House, rng: random.Random) -> Visit:
    """A tug of war is compared with the machine as described."""
    return house.visit("tug", "t.csv", mutants.csv(bases.TUG, rng), ["learn", "t.csv", "machine.toml"])


def _explained(house: House, rng: random.Random) -> Visit:
    """A name that bedsim knows, or nearly, in general or in a machine."""
    name = mutants.word(rng.choice(bases.EXPLAINED), rng)
    where = rng.choice(([], [], [], ["machine.toml"], ["none.toml"]))
    return house.visit(
        "explain", "words.txt", name.encode("utf-8", "replace"), ["explain", "--", name, *where]
    )


def _knowledge(house: House, rng: random.Random) -> Visit:
    words = ["diagnose", "none.csv", "taught.toml"]
    return house.visit("knowledge", "taught.json", mutants.tree(house.texts["taught.json"], rng), words)


def _result(house: House, rng: random.Random) -> Visit:
    """A result is read before the other file, which is not there; without its seal a process of its own
    looks at it first."""
    whole = house.whole if rng.random() < 0.98 else house.whole[:-80]
    data = mutants.binary(whole, rng)
    return house.visit("result", "r.h5", data, ["compare", "r.h5", "none.h5"])


def _report(house: House, rng: random.Random) -> Visit:
    """Seldom: whatever is whole makes a page with all its figures."""
    if rng.random() < 0.9:
        return _quick_scenario(house, rng)
    data = mutants.binary(house.whole[:-80], rng)
    return house.visit("report", "r.h5", data, ["report", "r.h5", "--no-levers", "--output", "r.html"])


def _swept(house: House, rng: random.Random) -> Visit:
    data = mutants.binary(house.swept if rng.random() < 0.98 else house.swept[:-80], rng)
    words = ["sweep", "plan.toml", "--output", "r2.h5", "--member", "1,2"]
    return house.visit("sweep result", "r2.h5", data, words)


def _options(house: House, rng: random.Random) -> Visit:
    words = words_of(rng)
    visit = house.visit("options", "words.txt", "\n".join(words).encode("utf-8", "replace"), words)
    for name in MISSING[:3]:  # `new` may have made it: what is missing stays missing
        (house.folder / name).unlink(missing_ok=True)
    return visit


Door = Callable[[House, random.Random], Visit]
DOORS: dict[str, tuple[Door, int]] = {
    "scenario": (_quick_scenario, 26),
    "size": (_sized, 1),
    "run": (_run, 1),
    "tables": (_named_table, 8),
    "history": (_history, 2),
    "compensate": (_compensated, 2),
    "program": (_program, 8),
    "copy": (_copied, 8),
    "spares": (_spares, 6),
    "spare tables": (_spare_table, 6),
    "plan": (_plan, 8),
    "lot": (_lot, 4),
    "gauge": (_gauge, 18),
    "photo": (_photo, 2),
    "diagnose": (_readings, 2),
    "learn": (_learn, 4),
    "tug": (_tug, 1),
    "explain": (_explained, 1),
    "knowledge": (_knowledge, 6),
    "result": (_result, 1),
    "report": (_report, 1),
    "sweep result": (_swept, 1),
    "options": (_options, 18),
}
"""Doors by name, and how many visits of a round each has."""
