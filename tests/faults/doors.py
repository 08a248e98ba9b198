"""Every door that files come in by, and what a visit may end with."""

from __future__ import annotations

import contextlib
import io
import random
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import mutants

from bedsim.cli.main import main
from bedsim.results.store import write_run
from bedsim.scenario.load import load_scenario
from bedsim.simulation import simulate

ROOT = Path(__file__).parents[2]
SCENARIOS = sorted((ROOT / "scenarios").glob("*.toml"))
PLANS = sorted((ROOT / "scenarios" / "sweeps").glob("*.toml"))
CODES = (0, 1, 2, 3)
SPEECHLESS = re.compile(r"(?<![\w.])(nan|inf)(?![\w.])")
GAUGE = "\n".join(
    ["# length_mm = 400", "position_mm,angle_deg,reading_um"]
    + [f"{z},{a},{10 + z / 50 + (a % 90) / 9:.1f}" for z in (50, 150, 250, 350) for a in range(0, 360, 45)]
)
BANDS = "wall,probe,wavelength_mm,amplitude_um,crest_mm\n+X,centre,5,4.0,1.25\n+Y,centre,5,1.5,3.10\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """`door`, what was brought, and what came of it."""

    door: str
    brought: bytes
    code: int
    said: str

    @property
    def fault(self) -> str:
        """What is wrong with the answer; empty where nothing is."""
        if self.code not in CODES:
            return f"exit code {self.code}"
        if "Traceback" in self.said:
            return "a traceback"
        if self.code == 2 and not self.said.strip():
            return "refused without a word"
        if self.code in (0, 1) and SPEECHLESS.search(self.said):
            return "a number that is none"
        return ""


def visits(folder: Path, rng: random.Random, count: int) -> Iterator[Visit]:
    """So many visits, the doors in turn."""
    result = folder / "whole.h5"
    loaded = load_scenario(ROOT / "scenarios" / "ground-stiff.toml", ["print.layers=3"])
    write_run(simulate(loaded, "equilibrium"), result)
    whole = result.read_bytes()
    for k in range(count):
        yield (_scenario, _scenario, _plan, _gauge, _bands, _result)[k % 6](folder, rng, whole)


def _visit(door: str, file: Path, data: bytes, words: list[str]) -> Visit:
    file.write_bytes(data)
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(words)
    return Visit(door=door, brought=data, code=code, said=out.getvalue() + err.getvalue())


def _scenario(folder: Path, rng: random.Random, _: bytes) -> Visit:
    data = mutants.toml(rng.choice(SCENARIOS).read_text("utf-8"), rng)
    file = folder / "s.toml"
    return _visit("size", file, data, ["size", str(file), "--no-pictures"])


def _plan(folder: Path, rng: random.Random, _: bytes) -> Visit:
    data = mutants.toml(rng.choice(PLANS).read_text("utf-8"), rng)
    file = folder / "p.toml"
    return _visit("sweep", file, data, ["sweep", str(file), "--member", "x"])


def _gauge(folder: Path, rng: random.Random, _: bytes) -> Visit:
    file = folder / "g.csv"
    words = ["gauge", str(file), "--no-pictures", "--output", str(folder / "out")]
    return _visit("gauge", file, mutants.csv(GAUGE, rng), words)


def _bands(folder: Path, rng: random.Random, _: bytes) -> Visit:
    file, scenario = folder / "b.csv", str(ROOT / "scenarios" / "ground-stiff.toml")
    words = ["diagnose", str(file), scenario, "--set", "guide.friction_n=0", "--set", "print.layers=8"]
    return _visit("diagnose", file, mutants.csv(BANDS, rng), words)


def _result(folder: Path, rng: random.Random, whole: bytes) -> Visit:
    file = folder / "r.h5"
    data = mutants.binary(whole if rng.random() < 0.5 else whole[:-80], rng)
    return _visit("report", file, data, ["report", str(file), "--output", str(folder / "r.html")])
