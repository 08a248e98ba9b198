"""One small machine, run and swept once for all tests of this folder."""

import pytest
from api_machines import MACHINE, PLAN

import bedsim


@pytest.fixture(scope="session")
def machine():
    return bedsim.scenario(MACHINE)


@pytest.fixture(scope="session")
def run(machine):
    return bedsim.with_answer(bedsim.simulate(machine, "equilibrium"))


@pytest.fixture(scope="session")
def files(machine, run, tmp_path_factory):
    folder = tmp_path_factory.mktemp("files")
    (folder / "machine.toml").write_text(machine.source_text, "utf-8")
    (folder / "plan.toml").write_text(PLAN, "utf-8")
    bedsim.save(run, folder / "run.h5")
    bedsim.sweep(folder / "plan.toml", folder / "sweep.h5")
    return folder


@pytest.fixture(scope="session")
def plan(files):
    return files / "plan.toml"


@pytest.fixture(scope="session")
def swept(files):
    return bedsim.open_sweep(files / "sweep.h5")
