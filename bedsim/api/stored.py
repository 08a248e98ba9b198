"""Results to files and back: ours, tables (CSV) and JSON."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bedsim.errors import InputError
from bedsim.files import write_file
from bedsim.results.layers import Run
from bedsim.results.store import file_type_of, write_run
from bedsim.results.sweep import SweepResult
from bedsim.results.sweep_store import write_sweep

if TYPE_CHECKING:
    from xarray import Dataset

    from bedsim.compensate.advice import Compensation

Row = tuple[Any, ...]


def open_file(path: str | Path, chunks: Any = None) -> Dataset:
    """Any result file as a labelled Dataset of xarray; with `chunks` ({} for those of the file, or as in
    `xarray.open_dataset`) its arrays are dask's.

    Raises ResultFileError for any other file, InputError where xarray is not installed.
    """
    from bedsim.results.datasets import OPENED, open_run

    file = Path(path)
    return OPENED.get(file_type_of(file), open_run)(file, chunks)


def save(found: Run | SweepResult, path: str | Path) -> Path:
    """Write a run or a sweep as a result file (.h5), complete or not at all.  Raises ResultFileError."""
    file = _named(path, ".h5", ".hdf5")
    if isinstance(found, Run):
        write_run(found, file)
    elif isinstance(found, SweepResult):
        write_sweep(found, file)
    else:
        raise InputError(f"{type(found).__name__}: is no run or sweep; nothing else has a result file.")
    return file


def to_csv(found: Run | SweepResult | Compensation, path: str | Path) -> Path:
    """Write a tidy table, SI units in the names: of a run a row for every layer and probe, of a sweep a row
    for every printer; of a compensation its table.  Raises ResultFileError, and InputError for a table that
    is not to be used."""
    from bedsim.compensate.advice import Compensation

    file = _named(path, ".csv")
    if isinstance(found, Compensation):
        write_file(file, _compensation_text(found, file))
        return file
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerows(_run_rows(found) if isinstance(found, Run) else _sweep_rows(found))
    write_file(file, text.getvalue())
    return file


def _compensation_text(found: Compensation, file: Path) -> str:
    from bedsim.compensate.table import table_text

    if found.refused:
        raise InputError(f"{file}: not written: {'; '.join(found.refused)}.")
    return table_text(found)


def to_json(found: Any, path: str | Path | None = None) -> str:
    """An answer as JSON (SI), the same as behind `"answer"` of a command's --json; also written where a path
    is given.  Raises ResultFileError."""
    from bedsim.answers.made import answer_of

    text = json.dumps(answer_of(found).model_dump(mode="json"), indent=2, ensure_ascii=False, allow_nan=False)
    if path is not None:
        write_file(_named(path, ".json"), f"{text}\n")
    return text


def _named(path: str | Path, *endings: str) -> Path:
    file = Path(path)
    if file.suffix.lower() not in endings:
        raise InputError(f"{file}: must end in {' or '.join(endings)}, for example {file.stem}{endings[0]}.")
    return file


def _run_rows(run: Run) -> Iterator[Row]:
    layers = run.layers
    yield (
        *("layer", "print_height_m", "probe", "height_error_m", "lateral_error_x_m", "lateral_error_y_m"),
        "thickness_error_m",
    )
    for k, layer in enumerate(layers.layer):
        for p, probe in enumerate(layers.probe_name):
            x, y = layers.lateral_error[k, p]
            errors = (layers.height_error[k, p], x, y, layers.thickness_error[k, p])
            yield (int(layer), float(layers.print_height[k]), probe, *map(float, errors))


def _sweep_rows(result: SweepResult) -> Iterator[Row]:
    from bedsim.analysis.figures import METRICS

    units = {m.name: m.unit for m in METRICS}
    heads = [f"{name}_{units[name]}" for name in result.metrics]
    yield ("cell", "label", *result.axis_names, "printer", *heads, "stopped", "meets")
    for cell in result.cells:
        labels = [names[i] for names, i in zip(result.axis_labels, cell.place, strict=False)]
        labels += [""] * (len(result.axis_names) - len(labels))
        for k, figures in enumerate(cell.figures):
            ends = (int(cell.stopped[k]), int(cell.meets[k]))
            yield (cell.index, cell.label, *labels, k, *map(float, figures), *ends)
