"""The plans that come with bedsim: every one loads, and one number of each is pinned."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bedsim.cli.main import main
from bedsim.scenario.sweep_plan import plan_schema
from bedsim.sweep.plan import load_plan
from bedsim.sweep.run import order_of
from bedsim.sweep.tasks import Task, run_task

FOLDER = Path(__file__).parents[2] / "scenarios" / "sweeps"
# Median lateral error, peak to valley, of the first 64 printers of a cell without friction, um.  To pin anew:
# run this file.
PINNED = {"grade-and-joint.toml": (4, 5.9), "where-to-spend.toml": (3, 4.4)}


def median(name: str) -> float:
    plan = load_plan(FOLDER / name)
    cell = replace(plan.cells[PINNED[name][0]], others=())
    order = replace(order_of(plan), engine="equilibrium")
    (part,) = run_task(Task(order=order, cells=(cell,), first=0, last=64))
    return float(np.median(part.figures[:, 0])) * 1e6


def test_every_plan_is_pinned():
    assert {path.name for path in FOLDER.glob("*.toml")} == set(PINNED)


@pytest.mark.parametrize("name", PINNED)
def test_shipped_plan_gives_its_number(name):
    """Printed to one decimal: half a digit either way."""
    assert median(name) == pytest.approx(PINNED[name][1], abs=0.05)


@pytest.mark.parametrize("name", PINNED)
def test_shipped_plan_fits_the_schema_for_editors(name):
    jsonschema = pytest.importorskip("jsonschema")
    import tomllib

    tree = tomllib.loads((FOLDER / name).read_text(encoding="utf-8"))
    jsonschema.validate(tree, plan_schema())
    tree["membres"] = 3
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(tree, plan_schema())


def test_schema_is_printed(capsys):
    assert main(["sweep", "--schema"]) == 0
    assert '"interval_below"' in capsys.readouterr().out


if __name__ == "__main__":
    for each in PINNED:
        print(each, round(median(each), 1))
