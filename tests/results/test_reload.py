"""A result file alone gives back its scenario, measured tables included."""

from pathlib import Path

import h5py
import numpy as np
import pytest

from bedsim.errors import InputError
from bedsim.results import schema
from bedsim.results.reload import scenario_of
from bedsim.results.store import read_run, write_run
from bedsim.scenario.load import load_scenario
from bedsim.simulation import simulate

SCENARIOS = Path(__file__).parents[2] / "scenarios"


@pytest.fixture(scope="module")
def measured():
    """Three screws as a gauge found them, five layers."""
    return load_scenario(SCENARIOS / "gauge-readings.toml", ["print.layers=5"])


@pytest.fixture
def result(measured, tmp_path):
    """Its result, in a folder where nothing else is."""
    write_run(simulate(measured, engine="equilibrium"), tmp_path / "measured.h5")
    return tmp_path / "measured.h5"


def test_scenario_and_tables_come_back_and_give_the_same_errors(result, measured):
    run = read_run(result)
    again = scenario_of(run, result)
    assert again.scenario == measured.scenario
    assert list(again.tables) == list(measured.tables)
    for written, table in measured.tables.items():
        assert np.array_equal(again.tables[written], table)
    errors = simulate(again, engine="equilibrium").layers.lateral_error
    assert np.array_equal(errors, run.layers.lateral_error)


def test_tables_stand_in_the_file_column_by_column_with_their_units(result, measured):
    with h5py.File(result) as file:
        group = file["scenario/tables/table_2"]
        written = group.attrs["written"]
        units = {name: column.attrs["units"] for name, column in group.items()}
        assert np.array_equal(group["offset_y_um"], measured.tables[written][:, 2])
    assert written == "gauge-readings/front-right.csv"
    assert units == {"position_mm": "mm", "offset_x_um": "um", "offset_y_um": "um"}


def test_a_file_from_before_tables_were_kept_is_read_and_its_scenario_refused(result):
    with h5py.File(result, "a") as file:
        del file["scenario/tables"]
        file.attrs["format_version"] = [1, 0]
    run = read_run(result)
    assert run.tables == {}
    with pytest.raises(InputError, match=r"run_out\.table = .*front-left\.csv.*: no such file") as caught:
        scenario_of(run, result)
    assert str(result) in str(caught.value)


def test_nothing_beside_the_file_is_read(result, measured):
    """A table of the same name beside a result does not take the place of one that is not in it."""
    beside = result.parent / "gauge-readings"
    beside.mkdir()
    for written in measured.tables:
        (result.parent / written).write_text("position_mm,offset_x_um,offset_y_um\n0,1,2\n9,3,4\n")
    with h5py.File(result, "a") as file:
        del file["scenario/tables"]
    with pytest.raises(InputError, match="no such file"):
        scenario_of(read_run(result), result)


def test_the_minor_version_has_grown_with_the_tables():
    assert schema.FORMAT_VERSION == (1, 2)


def test_residual_vibration_is_not_a_number_without_inertia(result):
    layers = read_run(result).layers
    assert np.isnan(layers.residual_height).all()
    assert np.isnan(layers.residual_lateral).all()
    assert np.isnan(layers.settle_time).all()
