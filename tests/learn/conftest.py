import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from learnt import SIGMA
from read_world import UNGAUGED, gauged_rows, world, written

from bedsim.learn.keep import write_knowledge
from bedsim.learn.learned import learn
from bedsim.learn.reading_files import read_files
from bedsim.scenario.load import load_scenario

SEED = 0


@pytest.fixture(scope="package")
def made():
    return world("rigid", SEED, False)


@pytest.fixture(scope="package")
def rows(made):
    return gauged_rows(made.true, np.random.default_rng(1))


@pytest.fixture(scope="package")
def folder(tmp_path_factory, made, rows):
    here = tmp_path_factory.mktemp("learn")
    written(here / "bed.csv", rows)
    (here / "machine.toml").write_text(made.given.source_text)
    return here


@pytest.fixture(scope="package")
def found(folder):
    loaded = load_scenario(folder / "machine.toml")
    read = read_files([folder / "bed.csv"], loaded, SIGMA)
    return learn(loaded, read.observations, lot=UNGAUGED, sigma=SIGMA, count=12)


@pytest.fixture(scope="package")
def kept(folder, found):
    loaded = load_scenario(folder / "machine.toml")
    return write_knowledge(folder / "machine.json", found, loaded, [folder / "bed.csv"])
