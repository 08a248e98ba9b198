"""A program of somebody else, as type checkers see it; it is run, too."""

from pathlib import Path

import bedsim
from bedsim.results.layers import Run


def strays(run: Run) -> float:
    """The largest lateral error, m."""
    return float(abs(run.layers.lateral_error).max())


def main(folder: Path) -> tuple[float, float]:
    """Ask the usual things."""
    machine = bedsim.load_scenario(folder / "machine.toml", changes={"print.layers": 4})
    text = bedsim.load_scenario(machine.source_text)
    changed = text.with_values({"joint.kind": "rolling"})
    first, other = (bedsim.simulate(one, engine="equilibrium") for one in (machine, changed))
    path: Path = bedsim.save(first, folder / "first.h5")
    verdict: str = bedsim.compare(path, changed, engine="equilibrium").labels[0]
    margins: list[float] = [c.margin for c in bedsim.size(machine).checks if c.margin is not None]
    swept = bedsim.sweep(folder / "plan.toml", workers=1)
    shares: list[float] = [cell.probability for cell in swept.cells]
    bedsim.plot(swept)
    assert verdict and margins and shares
    return strays(first), strays(other)
