"""Result files as labelled arrays: coordinates, units, and the same numbers as in the file."""

import json

import h5py
import numpy as np
import pytest

import bedsim
from bedsim.errors import ResultFileError
from bedsim.results.sweep_schema import SWEEP_DATASETS


def test_a_run_carries_units_ranges_shares_verdict_and_what_to_measure(files):
    found = bedsim.open(files / "run.h5")
    run = bedsim.open_result(files / "run.h5")
    assert found.attrs["Conventions"].startswith("CF-") and found.attrs["verdict"] == run.answer.verdict
    assert found.height_error.attrs["units"] == "m" and found.height_error.dims == ("layer", "probe")
    assert "print_height" in found.coords and "units" not in found.pose_raw.attrs
    at = found.sel(probe="centre")
    assert (
        at.lateral_error.sel(axis="x").values.tolist()
        == run.layers.lateral_error[:, run.layers.probe_name.index("centre"), 0].tolist()
    )
    pv = found.figure_value.sel(figure="lateral_pv")
    low, high = (float(found[f"figure_{end}"].sel(figure="lateral_pv")) for end in ("low", "high"))
    assert low < float(pv) < high
    assert found.key.values[0] == run.answer.key[0] and float(found.key_swing[0]) > 0
    assert "run-out" in set(found.source_cause.values)


def test_a_sweep_stands_over_its_axes(files):
    found = bedsim.open(files / "sweep.h5")
    assert dict(found.sizes) | {"grade": 2, "joint.kind": 2, "printer": 3} == dict(found.sizes)
    result = bedsim.open_sweep(files / "sweep.h5")
    for cell in result.cells:
        labels = {
            n: labels[i]
            for n, labels, i in zip(result.axis_names, result.axis_labels, cell.place, strict=True)
        }
        here = found.sel(labels)
        for k, name in enumerate(result.metrics):
            assert here[name].values.tobytes() == cell.figures[:, k].tobytes()
        assert float(here.probability) == cell.probability
        assert np.array_equal(here.envelope_lateral.transpose("layer", "quantile"), cell.envelope[:, :, 0])
        assert (
            float(here.quantiles.sel(metric="lateral_pv", quantile=0.5))
            == cell.quantiles[[f"{x:g}" for x in result.levels].index("0.5"), 0]
        )


def test_lazily_with_dask(files):
    pytest.importorskip("dask")
    for name in ("run.h5", "sweep.h5"):
        lazy, whole = bedsim.open(files / name, chunks={}), bedsim.open(files / name)
        assert any(type(v.data).__module__.startswith("dask") for v in lazy.data_vars.values())
        assert lazy.load().identical(whole)
        lazy.close()


def test_plain_h5py_reads_the_places_of_cells(files):
    with h5py.File(files / "sweep.h5") as file:
        cells = file["cells"]
        places = np.stack([cells["on_axis_0"][:], cells["on_axis_1"][:]], axis=1).tolist()
        assert places == [json.loads(text) for text in cells["place"].asstr()[:]]
        assert cells["probability"].dims[0].label == "cell"


def test_every_dataset_of_a_sweep_is_in_the_list(files):
    stated = {(d.group, d.name): d for d in SWEEP_DATASETS}
    metrics = bedsim.open_sweep(files / "sweep.h5").metrics
    seen = set()

    def note(name, item):
        if not isinstance(item, h5py.Dataset):
            return
        group, _, last = name.rpartition("/")
        group = "envelopes/cell_<n>" if group.startswith("envelopes/") else group
        for start in ("axis_", "on_axis_"):
            last = f"{start}<n>" if last.startswith(start) else last
        last = "<figure>" if group == "members" and last in metrics else last
        seen.add((group, last))
        assert (group, last) in stated, name

    with h5py.File(files / "sweep.h5") as file:
        file.visititems(note)
    assert {k for k in stated if k[0] not in ("machines", "doubt")} <= seen


def test_other_files_get_one_sentence(tmp_path):
    with h5py.File(tmp_path / "part.h5", "w") as file:
        file.attrs["file_type"] = "bedsim sweep part"
    for path in (tmp_path / "none.h5", tmp_path / "part.h5"):
        with pytest.raises(ResultFileError) as caught:
            bedsim.open(path)
        assert "\n" not in str(caught.value)
