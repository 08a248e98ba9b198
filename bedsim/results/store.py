"""Result files on disk; the only module that knows h5py.

A file is built in memory and appears complete or not at all (`bedsim.files`).  `create_atomically`,
`open_checked`, `add_text` and `add_array` know nothing of runs and serve other kinds of file as well.
"""

from __future__ import annotations

import contextlib
import hashlib
import secrets
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from bedsim.errors import ResultFileError
from bedsim.files import reason, write_file
from bedsim.results import schema
from bedsim.results.answer import RunAnswer
from bedsim.results.layers import Array, LayerResult, Open, Run, Trace
from bedsim.results.vet import found_wrong

_TEXT = h5py.string_dtype("utf-8")
_RUN_TEXTS = ("program_version", "engine", "solver_message", "created")


# ---- any kind of file ---------------------------------------------------------------------------------


@contextlib.contextmanager
def create_atomically(path: Path) -> Iterator[h5py.File]:
    """Give an open HDF5 file in memory; when the block ends without fault it appears at `path`, complete.

    Memory: twice the size of the file.  Raises ResultFileError when the file cannot be written; nothing is
    left then, and an older file of that name stays as it was.
    """
    with h5py.File(f"memory-{secrets.token_hex(8)}", "w", driver="core", backing_store=False) as file:
        yield file
        file.flush()
        image = file.id.get_file_image()
    write_file(path, image + _seal(image))


_SEAL = b"\nbedsim sha256 "
_SEAL_SIZE = len(_SEAL) + 64 + 1


def _seal(image: bytes) -> bytes:
    """What stands behind an HDF5 file so that every changed bit is seen; HDF5 itself does not look there, and
    takes it off when it changes the file."""
    return _SEAL + hashlib.sha256(image).hexdigest().encode() + b"\n"


def _is_sealed(path: Path) -> bool | None:
    """Whether the bytes of a file are those that were written; None where nothing vouches for them."""
    size = max(0, path.stat().st_size - _SEAL_SIZE)
    with path.open("rb") as stream:
        stream.seek(size)
        found = stream.read()
        if not found.startswith(_SEAL):
            cut = any(found.endswith(_SEAL[:n]) for n in range(4, len(_SEAL) + 1)) or _SEAL in found
            return False if cut else None
        stream.seek(0)
        digest, left = hashlib.sha256(), size
        while left > 0 and (piece := stream.read(min(left, 1 << 20))):
            digest.update(piece)
            left -= len(piece)
    return found == _SEAL + digest.hexdigest().encode() + b"\n"


def _vouch(path: Path) -> None:
    """Refuse a file whose bytes are not those written, and one without seal that cannot be read through."""
    sealed = _is_sealed(path)
    if sealed:
        return
    wrong = found_wrong(path)
    if sealed is None and wrong:
        raise ResultFileError(f"{path}: {wrong}. Run the scenario again.")
    if sealed is None:
        return
    saved = (
        "nothing of it can be read"
        if wrong
        else "every dataset can still be read by any HDF5 reader, the scenario among them, but any number "
        "may be wrong"
    )
    raise ResultFileError(
        f"{path}: is damaged: its bytes are not those that were written; {saved}. Run the scenario again."
    )


@contextlib.contextmanager
def open_checked(path: Path, file_type: str, version: tuple[int, int]) -> Iterator[h5py.File]:
    """Open a file of ours for reading after checking its type and version.

    Raises ResultFileError in one sentence for a file that is missing, foreign, truncated, damaged, of
    another type, of another major version or of a newer minor version than `version`.
    """
    with _open_hdf5(Path(path)) as file:
        check_file_type(file, path, file_type, version)
        try:
            yield file
        except (KeyError, OSError, RuntimeError, ValueError, TypeError, AttributeError) as fault:
            raise ResultFileError(f"{path}: is damaged: {_first_line(fault)}.") from fault


def file_type_of(path: Path) -> str:
    """What a file of ours says that it is; "" for one that says nothing.  Raises ResultFileError for a file
    that is missing, foreign or damaged."""
    with _open_hdf5(path) as file:
        return str(file.attrs.get("file_type", ""))


def _open_hdf5(path: Path) -> h5py.File:
    try:
        if not path.is_file():
            problem = "it is not a regular file" if path.exists() else "there is no such file"
            raise ResultFileError(f"{path}: cannot be read: {problem}.")
        with path.open("rb") as stream:
            head = stream.read(8)
        if not head:
            raise ResultFileError(f"{path}: is empty, not a bedsim result file.")
        if path.suffix.lower() == ".toml":
            raise ResultFileError(f"{path}: is a scenario, not a result: bedsim run {path} makes one of it.")
        if head != b"\x89HDF\r\n\x1a\n":
            raise ResultFileError(f"{path}: is not a bedsim result file (it is not HDF5).")
        _vouch(path)
        return h5py.File(path, "r")
    except OSError as fault:
        raise _not_opened(path, fault) from fault


def _not_opened(path: Path, fault: OSError) -> ResultFileError:
    text = str(fault)
    if "truncated" in text or "eof" in text.lower():
        return ResultFileError(f"{path}: is truncated: part of the file is missing. Run the scenario again.")
    if "lock" in text:
        return ResultFileError(f"{path}: is being written by another program. Try again when that has ended.")
    if fault.errno and "HDF5" not in text and "unable to" not in text.lower():
        return ResultFileError(f"{path}: cannot be read: {reason(fault)}.")
    return ResultFileError(f"{path}: is damaged and cannot be opened. Run the scenario again.")


def _first_line(fault: BaseException) -> str:
    text = str(fault.args[0]) if fault.args else type(fault).__name__
    return text.splitlines()[0].strip("'\"").rstrip(".") if text else type(fault).__name__


def check_file_type(file: h5py.File, path: Path, file_type: str, version: tuple[int, int]) -> None:
    """Refuse, in one sentence, a file of another type or of a version this program does not know.

    Raises ResultFileError.
    """
    found = file.attrs.get("file_type")
    if not isinstance(found, str) or not found.startswith("bedsim "):
        raise ResultFileError(f"{path}: is an HDF5 file, but not one of bedsim's (no attribute file_type).")
    if found != file_type:
        raise ResultFileError(f"{path}: is a '{found}' file; a '{file_type}' file is wanted here.")
    try:
        major, minor = (int(v) for v in file.attrs["format_version"])
    except (KeyError, TypeError, ValueError) as fault:
        raise ResultFileError(f"{path}: is damaged: its format_version cannot be read.") from fault
    if major != version[0]:
        raise ResultFileError(
            f"{path}: has format version {major}.{minor}; this program reads version {version[0]} only. "
            + (
                "Use a newer bedsim."
                if major > version[0]
                else "Use an older bedsim, or run the scenario again."
            )
        )
    if minor > version[1]:
        raise ResultFileError(
            f"{path}: has format version {major}.{minor}, newer than {version[0]}.{version[1]}, "
            "the newest this program knows. Use a newer bedsim."
        )


def mark_file(file: h5py.File, file_type: str, version: tuple[int, int]) -> None:
    """Write the attributes that `check_file_type` reads."""
    file.attrs["file_type"] = file_type
    file.attrs["format_version"] = np.asarray(version, dtype=np.int64)


def add_text(group: h5py.Group, name: str, text: str, long_name: str) -> None:
    """Add one text as a scalar dataset."""
    group.create_dataset(name, data=text, dtype=_TEXT).attrs["long_name"] = long_name


def add_array(
    group: h5py.Group, name: str, values: Any, dims: tuple[str, ...], *, unit: str, long_name: str, kind: str
) -> None:
    """Add one array with its attributes; its axes are tied to the scales in the group that carry their names.

    A dataset whose only axis has its own name becomes that axis' scale, and must be added before its users.
    `kind`: float64, int64, text or bool (kept as int8 with attribute dtype = "bool", the habit of netCDF
    readers).
    """
    stored = {"text": _TEXT, "bool": np.dtype(np.int8)}.get(kind) or np.dtype(kind)
    data = np.asarray(values, dtype=object if kind == "text" else stored)
    dataset = group.create_dataset(name, data=data, dtype=stored)
    dataset.attrs["units"] = unit
    dataset.attrs["long_name"] = long_name
    if kind == "bool":
        dataset.attrs["dtype"] = "bool"
    if dims == (name,):
        dataset.make_scale(name)
        return
    for axis, dim in enumerate(dims):
        dataset.dims[axis].attach_scale(group[dim])
        dataset.dims[axis].label = dim


def get_array(dataset: h5py.Dataset, kind: str) -> Any:
    """Read what `add_array` wrote: a tuple of texts, or an array that owns its memory."""
    if kind == "text":
        return tuple(str(v) for v in dataset.asstr()[()])
    return np.array(dataset[()], dtype=np.dtype(kind))


# ---- the file of one run ------------------------------------------------------------------------------


def write_run(run: Run, path: Path) -> None:
    """Write one run as HDF5, complete or not at all.

    Raises ResultFileError when the file cannot be written, ValueError when the arrays of the run do not fit
    together.
    """
    with create_atomically(path) as file:
        mark_file(file, schema.FILE_TYPE, schema.FORMAT_VERSION)
        for name in _RUN_TEXTS:
            file.attrs[name] = getattr(run, name)
        file.attrs["program"] = run.program
        file.attrs["solver_status"] = schema.SOLVER_STATUS
        file.attrs["seed"] = np.int64(run.seed)
        file.attrs.create("notes", np.asarray(run.notes, dtype=object), shape=(len(run.notes),), dtype=_TEXT)
        statistics = file.create_group(schema.STATISTICS_GROUP)
        for name, value in run.statistics.items():
            statistics.attrs[name] = np.float64(value)
        scenario = file.create_group(schema.SCENARIO_GROUP)
        for d in schema.of_group(schema.SCENARIO_GROUP):
            add_text(scenario, d.name, getattr(run, d.field), d.long_name)
        _write_tables(file, run.tables)
        _write_layers(file.create_group(schema.LAYERS_GROUP), run.layers)
        for trace in run.layers.trace:
            group = file.create_group(schema.TRACE_GROUP.replace("<n>", str(trace.layer)))
            _write_trace(group, trace, run.layers)
        if run.open is not None:
            _write_open(file.create_group(schema.OPEN_GROUP), run.open, run.layers)
        if run.answer is not None:
            _write_answer(file.create_group(schema.ANSWER_GROUP), run.answer)


def _write_answer(group: h5py.Group, answer: RunAnswer) -> None:
    counted = {name: len(getattr(answer, name)) for name in ("figure", "source", "key")}
    _write_group(group, schema.ANSWER_GROUP, answer, {}, counted)
    group.attrs["verdict"] = answer.verdict


def _read_answer(file: h5py.File) -> RunAnswer | None:
    """None where it was not worked out, and in files before version 1.2."""
    if schema.ANSWER_GROUP not in file:
        return None
    group = file[schema.ANSWER_GROUP]
    return RunAnswer(verdict=str(group.attrs["verdict"]), **_read_group(group, schema.ANSWER_GROUP))


def _write_tables(file: h5py.File, tables: Mapping[str, Array]) -> None:
    for number, (written, table) in enumerate(tables.items(), start=1):
        group = file.create_group(schema.TABLES_GROUP.replace("<n>", str(number)))
        group.attrs["written"] = written
        columns = schema.columns_of(table.shape[1])
        for (name, unit), values in zip(columns, table.T, strict=True):
            long_name = f"{name.rpartition('_')[0].replace('_', ' ')}, as in {written}"
            dims = (columns[0][0],)
            add_array(group, name, values, dims, unit=unit, long_name=long_name, kind="float64")


def _read_tables(file: h5py.File) -> dict[str, Array]:
    """Tables by the path as written, in the order of their numbers; none in files before version 1.1."""
    parent = schema.TABLES_GROUP.rpartition("/")[0]
    groups = [file[parent][name] for name in sorted(file[parent], key=_number)] if parent in file else []
    return {str(group.attrs["written"]): _read_table(group) for group in groups}


def _number(name: str) -> int:
    return int(name.rpartition("_")[2])


def _read_table(group: h5py.Group) -> Array:
    columns = schema.columns_of(len(group))
    return np.stack([get_array(group[name], "float64") for name, _ in columns], axis=1)


def _write_layers(group: h5py.Group, layers: LayerResult) -> None:
    names = schema.labels(layers.probe_name, layers.corner_name, layers.pose_raw.shape[1])
    _write_group(group, schema.LAYERS_GROUP, layers, names, {"layer": len(layers.layer)})
    group.attrs["coordinates"] = " ".join(schema.AUXILIARY_COORDINATES)


def _write_trace(group: h5py.Group, trace: Trace, layers: LayerResult) -> None:
    names = schema.labels(layers.probe_name, layers.corner_name, trace.pose.shape[1])
    _write_group(group, schema.TRACE_GROUP, trace, names, {"time": len(trace.time)})
    group.attrs["layer"] = np.int64(trace.layer)


def _write_open(group: h5py.Group, found: Open, layers: LayerResult) -> None:
    names = schema.labels(layers.probe_name, layers.corner_name, layers.pose_raw.shape[1])
    counted = {"layer": len(layers.layer)}
    _write_group(group, schema.OPEN_GROUP, found, names, counted)
    group.attrs["method"] = found.method


def _write_group(
    group: h5py.Group,
    pattern: str,
    owner: Any,
    names: Mapping[str, tuple[str, ...]],
    counted: Mapping[str, int],
) -> None:
    datasets = schema.of_group(pattern)
    values = {d.name: schema.source_of(d, owner, names) for d in datasets}
    sizes = {**{axis: len(texts) for axis, texts in names.items()}, **counted}
    schema.check_shapes(pattern, {name: np.shape(v) for name, v in values.items()}, sizes)
    for d in sorted(datasets, key=lambda d: not d.is_scale):
        add_array(group, d.name, values[d.name], d.dims, unit=d.unit, long_name=d.long_name, kind=d.kind)


def read_run(path: Path) -> Run:
    """Read a run into memory and close the file.

    Raises ResultFileError, one sentence, for any file that is not a complete run of a version this program
    knows.
    """
    with open_checked(path, schema.FILE_TYPE, schema.FORMAT_VERSION) as file:
        layers = _read_group(file[schema.LAYERS_GROUP], schema.LAYERS_GROUP)
        scenario = file[schema.SCENARIO_GROUP]
        texts: dict[str, Any] = {name: str(file.attrs[name]) for name in _RUN_TEXTS}
        texts |= {d.field: scenario[d.name].asstr()[()] for d in schema.of_group(schema.SCENARIO_GROUP)}
        return Run(
            layers=LayerResult(**layers, trace=_read_traces(file)),
            seed=int(file.attrs["seed"]),
            statistics={name: float(v) for name, v in file[schema.STATISTICS_GROUP].attrs.items()},
            notes=tuple(str(v) for v in file.attrs["notes"]),
            tables=_read_tables(file),
            program=str(file.attrs.get("program", "unknown")),
            open=_read_open(file),
            answer=_read_answer(file),
            **texts,
        )


def _read_traces(file: h5py.File) -> tuple[Trace, ...]:
    groups = file["trace"].values() if "trace" in file else ()
    traces = [Trace(layer=int(g.attrs["layer"]), **_read_group(g, schema.TRACE_GROUP)) for g in groups]
    return tuple(sorted(traces, key=lambda t: t.layer))


def _read_open(file: h5py.File) -> Open | None:
    """What uncertain numbers leave open; None where they were not varied, and before version 1.2."""
    if schema.OPEN_GROUP not in file:
        return None
    group = file[schema.OPEN_GROUP]
    return Open(method=str(group.attrs["method"]), **_read_group(group, schema.OPEN_GROUP))


def _read_group(group: h5py.Group, pattern: str) -> dict[str, Any]:
    version = tuple(int(v) for v in group.file.attrs["format_version"])
    datasets = schema.of_group(pattern)
    missing = [d.name for d in datasets if d.name not in group and d.since <= version]
    if missing:
        raise KeyError(f"{group.name} lacks {', '.join(missing)}")
    there = [d for d in datasets if d.name in group]
    sizes = {d.name: group[d.name].shape[0] for d in there if d.is_scale}
    schema.check_shapes(pattern, {d.name: group[d.name].shape for d in there}, sizes)
    found = {d.field: get_array(group[d.name], d.kind) for d in there if d.field}
    younger = {d.field: schema.unknown(d, sizes) for d in datasets if d.name not in group}
    return found | younger
