"""The result file: complete or absent, bit-exact, readable by others, and plain about what it refuses."""

from __future__ import annotations

import dataclasses
import os
import resource
import sys
from pathlib import Path

import h5py
import numpy as np
import pytest
import synthetic
import xarray

from bedsim.errors import ResultFileError
from bedsim.results import schema, store, vet
from bedsim.results.answer import RunAnswer
from bedsim.results.layers import LayerResult, Run, Trace


def assert_same(a: object, b: object, path: str = "") -> None:
    """Compare two frozen objects field by field, arrays bit by bit with their types."""
    for f in dataclasses.fields(a):  # type: ignore[arg-type]
        left, right, name = getattr(a, f.name), getattr(b, f.name), f"{path}.{f.name}"
        if isinstance(left, np.ndarray):
            assert left.dtype == right.dtype and left.shape == right.shape, name
            assert left.tobytes() == right.tobytes(), name
        elif isinstance(left, LayerResult | RunAnswer):
            assert_same(left, right, name)
        elif f.name == "trace":
            assert len(left) == len(right), name
            for x, y in zip(left, right, strict=True):
                assert_same(x, y, name)
        else:
            assert left == right, name


@pytest.fixture
def run() -> Run:
    return synthetic.run(synthetic.scenario(), traces=(2, 11))


@pytest.mark.parametrize("corners", [3, 4])
def test_round_trip_is_bit_exact(tmp_path: Path, corners: int) -> None:
    """What is read back equals what was written, including NaN, infinity, minus zero and the last bit."""
    run = synthetic.run(synthetic.scenario(corners), traces=(2, 11))
    run.layers.height_error[3, 1:5] = np.nan, np.inf, -0.0, np.nextafter(1e-6, 1)
    run.layers.stop_hit[5, 1] = True
    store.write_run(run, tmp_path / "a.h5")
    assert_same(run, store.read_run(tmp_path / "a.h5"))
    assert [p.name for p in tmp_path.iterdir()] == ["a.h5"]


def test_a_run_without_trace_notes_and_statistics_returns_as_it_was(tmp_path: Path, run: Run) -> None:
    bare = dataclasses.replace(
        run, notes=(), statistics={}, layers=dataclasses.replace(run.layers, trace=()), solver_message=""
    )
    store.write_run(bare, tmp_path / "a.h5")
    assert_same(bare, store.read_run(tmp_path / "a.h5"))


def test_list_names_every_field_of_the_results_once() -> None:
    """A field added to LayerResult, Trace or the scenario texts must be added to the list."""
    fields = {f.name for f in dataclasses.fields(LayerResult)} - {"trace"}
    assert sorted(d.field for d in schema.of_group(schema.LAYERS_GROUP) if d.field) == sorted(fields)
    fields = {f.name for f in dataclasses.fields(Trace)} - {"layer"}
    assert sorted(d.field for d in schema.of_group(schema.TRACE_GROUP) if d.field) == sorted(fields)


def test_every_dataset_of_the_file_is_in_the_list(tmp_path: Path, run: Run) -> None:
    store.write_run(run, tmp_path / "a.h5")
    found: set[tuple[str, str]] = set()

    def note(name: str, item: object) -> None:
        if isinstance(item, h5py.Dataset):
            group, _, last = name.rpartition("/")
            found.add((schema.TRACE_GROUP if group.startswith("trace/") else group, last))
            assert item.attrs["long_name"], name
            assert group == "scenario" or "units" in item.attrs, name

    with h5py.File(tmp_path / "a.h5") as file:
        file.visititems(note)
        assert set(file.attrs) == {name for name, _ in schema.ROOT_ATTRIBUTES}
    assert found == {(d.group, d.name) for d in schema.DATASETS}


def test_xarray_opens_layers_as_they_are(tmp_path: Path, run: Run) -> None:
    """Labelled axes, coordinates, units and truth values arrive without any help."""
    store.write_run(run, tmp_path / "a.h5")
    with xarray.open_dataset(tmp_path / "a.h5", group="layers", engine="h5netcdf") as data:
        assert data["lateral_error"].dims == ("layer", "probe", "axis")
        assert data["height_error"].dims == ("layer", "probe")
        assert {"layer", "probe", "corner", "axis", "rotation", "bed_coordinate"} <= set(data.coords)
        assert {"print_height", "probe_position"} <= set(data.coords)
        got = data["lateral_error"].sel(layer=7, probe="back right", axis="y").item()
        assert got == run.layers.lateral_error[6, 3, 1]
        assert data["side_force"].sel(corner="back").attrs["units"] == "N"
        assert data["height_error"].attrs["long_name"].startswith("height error")
        assert data["stop_hit"].dtype == bool
        assert data["settle_time"].dtype == np.float64
        assert list(data["bed_coordinate"].values) == ["tx", "ty", "tz", "wx", "wy", "wz"]


def test_xarray_opens_a_trace_as_it_is(tmp_path: Path, run: Run) -> None:
    store.write_run(run, tmp_path / "a.h5")
    with xarray.open_dataset(tmp_path / "a.h5", group="trace/layer_11", engine="h5netcdf") as data:
        assert data["height"].dims == ("time", "probe")
        assert data["joint"].dims == ("time", "corner", "axis")
        assert data.attrs["layer"] == 11
        assert np.array_equal(data["time"].values, run.layers.trace[1].time)


def test_xarray_opens_the_whole_file_as_a_tree(tmp_path: Path, run: Run) -> None:
    store.write_run(run, tmp_path / "a.h5")
    tree = xarray.open_datatree(tmp_path / "a.h5", engine="h5netcdf")
    assert tree["trace/layer_2"]["load_angle"].dims == ("time", "corner")
    tree.close()


def test_readme_is_in_step_with_the_list() -> None:
    """The page is what `schema.readme()` returns: write that to results/README.md to renew it."""
    page = Path(__file__).parents[2] / "results" / "README.md"
    assert page.read_text(encoding="utf-8") == schema.readme()


# ---- complete or absent


def old_and_new(tmp_path: Path) -> tuple[Path, Run]:
    path = tmp_path / "a.h5"
    old = dataclasses.replace(synthetic.run(synthetic.scenario()), engine="old")
    store.write_run(old, path)
    return path, dataclasses.replace(old, engine="new")


@pytest.mark.parametrize("call", ["fsync", "replace"])
def test_a_failing_disk_leaves_the_old_file_and_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    path, new = old_and_new(tmp_path)

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, call, full)
    with pytest.raises(ResultFileError, match=r"a\.h5: cannot be written: No space left on device\.$"):
        store.write_run(new, path)
    monkeypatch.undo()
    assert store.read_run(path).engine == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.h5"]


def test_a_file_size_limit_leaves_nothing(tmp_path: Path, run: Run) -> None:
    """The system itself refuses to let the file grow: nothing stays behind."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, hard))
    try:
        with pytest.raises(ResultFileError, match="cannot be written: File too large"):
            store.write_run(run, tmp_path / "a.h5")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert list(tmp_path.iterdir()) == []


def test_a_failing_writer_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(ZeroDivisionError), store.create_atomically(tmp_path / "a.h5") as file:
        file["x"] = 1 // 0
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("target", "reason"),
    [
        ("missing/a.h5", "the folder .*missing does not exist"),
        (".", "it is not a regular file"),
        ("/dev/null", "it is not a regular file"),
        ("/proc/a.h5", "."),
        ("x" * 300 + ".h5", "File name too long"),
    ],
)
def test_an_unusable_target_gets_one_sentence(tmp_path: Path, run: Run, target: str, reason: str) -> None:
    with pytest.raises(ResultFileError, match=f"cannot be written: {reason}") as caught:
        store.write_run(run, tmp_path / target)
    assert "\n" not in str(caught.value)
    assert list(tmp_path.iterdir()) == []
    assert Path("/dev/null").is_char_device()


def test_a_link_is_written_through(tmp_path: Path, run: Run) -> None:
    (tmp_path / "there").mkdir()
    (tmp_path / "link.h5").symlink_to(tmp_path / "there" / "a.h5")
    store.write_run(run, tmp_path / "link.h5")
    assert (tmp_path / "link.h5").is_symlink()
    assert store.read_run(tmp_path / "there" / "a.h5").seed == 7


def test_arrays_that_do_not_fit_are_a_fault_of_the_caller(tmp_path: Path, run: Run) -> None:
    bad = dataclasses.replace(run.layers, side_force=run.layers.side_force[:-1])
    with pytest.raises(ValueError, match="layers/side_force has shape"):
        store.write_run(dataclasses.replace(run, layers=bad), tmp_path / "a.h5")
    assert list(tmp_path.iterdir()) == []


# ---- refusals of the reader


def refused(path: Path, words: str) -> None:
    with pytest.raises(ResultFileError, match=words) as caught:
        store.read_run(path)
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith(str(path))


def test_missing_folder_and_foreign_files_get_one_sentence(tmp_path: Path) -> None:
    refused(tmp_path / "none.h5", "there is no such file")
    refused(tmp_path, "it is not a regular file")
    (tmp_path / "empty.h5").touch()
    refused(tmp_path / "empty.h5", "is empty")
    (tmp_path / "text.h5").write_text("title = 1\n" * 10)
    refused(tmp_path / "text.h5", "not HDF5")
    with h5py.File(tmp_path / "foreign.h5", "w") as file:
        file["x"] = 1
    refused(tmp_path / "foreign.h5", "not one of bedsim's")
    with store.create_atomically(tmp_path / "sweep.h5") as file:
        store.mark_file(file, "bedsim sweep", (1, 0))
    refused(tmp_path / "sweep.h5", "is a 'bedsim sweep' file; a 'bedsim run' file is wanted")


@pytest.mark.parametrize("part", [0.001, 0.1, 0.5, 0.9, 0.9999])
def test_truncated_file_gets_one_sentence(tmp_path: Path, run: Run, part: float) -> None:
    path = tmp_path / "a.h5"
    store.write_run(run, path)
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * part)])
    refused(path, "is truncated|is damaged")


def test_scrambled_files_never_end_in_another_fault(tmp_path: Path, run: Run) -> None:
    """Zeros over any stretch of the file give a run or one sentence, never a foreign fault."""
    path = tmp_path / "a.h5"
    store.write_run(run, path)
    data = path.read_bytes()
    for start in range(0, len(data), max(1, len(data) // 40)):
        path.write_bytes(data[:start] + bytes(600) + data[start + 600 :])
        try:
            store.read_run(path)
        except ResultFileError as fault:
            assert "\n" not in str(fault)


@pytest.mark.parametrize(
    ("version", "words"),
    [
        ([2, 0], "format version 2.0; this program reads version 1 only. Use a newer bedsim"),
        ([0, 9], "format version 0.9; this program reads version 1 only. Use an older"),
        ([1, 3], "format version 1.3, newer than 1.2"),
        ("one", "format_version cannot be read"),
    ],
)
def test_other_versions_get_one_sentence(tmp_path: Path, run: Run, version: object, words: str) -> None:
    store.write_run(run, tmp_path / "a.h5")
    with h5py.File(tmp_path / "a.h5", "a") as file:
        file.attrs["format_version"] = version
    refused(tmp_path / "a.h5", words)


def test_lacking_or_misshapen_datasets_get_one_sentence(tmp_path: Path, run: Run) -> None:
    path = tmp_path / "a.h5"
    store.write_run(run, path)
    with h5py.File(path, "a") as file:
        del file["layers/side_force"]
    refused(path, "is damaged: /layers lacks side_force")
    store.write_run(run, path)
    with h5py.File(path, "a") as file:
        del file["layers/tail_bound"]
        file["layers/tail_bound"] = np.zeros(3)
    refused(path, "tail_bound has shape")


# ---- seal, and files that nobody vouches for


def test_every_changed_byte_is_seen(tmp_path: Path, run: Run) -> None:
    path = tmp_path / "a.h5"
    store.write_run(run, path)
    data = path.read_bytes()
    for place in range(0, len(data), max(1, len(data) // 25)):
        path.write_bytes(data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :])
        refused(path, "damaged|truncated|not HDF5")


def test_a_number_changed_is_told_with_what_can_be_saved(tmp_path: Path, run: Run) -> None:
    path = tmp_path / "a.h5"
    store.write_run(run, path)
    data = path.read_bytes()
    at = data.index(run.layers.height_error.tobytes()) + 7
    path.write_bytes(data[:at] + bytes([data[at] ^ 8]) + data[at + 1 :])
    refused(path, "its bytes are not those that were written; every dataset can still be read")


def test_a_file_without_seal_is_read_after_a_look(tmp_path: Path, run: Run) -> None:
    """As older versions wrote it."""
    path = tmp_path / "a.h5"
    store.write_run(run, path)
    path.write_bytes(path.read_bytes()[:-80])
    assert store.read_run(path).engine == run.engine


def test_a_small_file_that_claims_much_is_refused_at_once(tmp_path: Path) -> None:
    path = tmp_path / "a.h5"
    with h5py.File(path, "w") as file:
        file.create_dataset("x", shape=(1 << 30,), chunks=(1 << 20,), dtype="f8", fillvalue=1.0)
    assert path.stat().st_size < 100_000
    refused(path, "claims to hold more than a file of its size can")


def test_a_reader_that_breaks_down_or_hangs_costs_a_sentence(
    tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.h5"
    store.write_run(run, path)
    path.write_bytes(path.read_bytes()[:-80])
    for words, script in (
        ("breaks down on it", "import os; os.abort()"),
        ("does not come to an end", "while 1: pass"),
    ):
        monkeypatch.setattr(vet, "SECONDS", 0.5)
        monkeypatch.setattr(vet, "command", lambda _, script=script: [sys.executable, "-c", script])
        refused(path, words)
