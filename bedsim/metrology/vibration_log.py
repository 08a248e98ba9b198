"""The log of an accelerometer as a phone or a board writes it: even times, one to three axes, where it was
tapped."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import scipy
from numpy.typing import NDArray

from bedsim.errors import InputError
from bedsim.metrology.csv_input import read_header
from bedsim.table_text import TableText, as_number

Array = NDArray[np.float64]

SECONDS = {"s": 1.0, "sec": 1.0, "seconds": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "ns": 1e-9}
LEAST = 200  # samples
GAP = 5.0  # usual steps: a longer one is a hole in the log
HIT = 0.01  # s after the peak of a tap that are left out: the hammer may still be there, our assumption
JUMP, WEAKEST = 3.0, 0.1  # of what rang before, and of the hardest: what counts as a tap, our assumption
BETWEEN = 0.5  # s between taps at least
LONGEST = 3.0  # s of a ring-down looked at
SHORTEST = 0.2  # s

_TIME = re.compile(r"^(time|t|timestamp|seconds|elapsed)\b|^(time|t|seconds|timestamp)[_ (\[]")
_AXIS = re.compile(r"(?:^|[^a-z])(?:a|g?acc?|accel|acceleration|gf)?[ _]?([xyz])(?:$|[^a-z])")
_OTHER = re.compile(r"gyr|rot|mag|angle|orient|abs|total|roll|pitch|yaw|omega")


@dataclass(frozen=True, slots=True, kw_only=True)
class VibrationLog:
    """`value` (n, a) along `axes` at `rate` [1/s], without its mean; `taps` (k,) first and last sample (2) of
    every ring-down; `unread`: columns that are left out."""

    axes: tuple[str, ...]
    rate: float
    value: Array
    taps: NDArray[np.intp]
    unread: tuple[str, ...]

    def ring_downs(self) -> list[Array]:
        """Samples (m, a) of each."""
        return [self.value[first:last] for first, last in self.taps]


def is_vibration(header: list[str]) -> bool:
    """Whether columns are a time and one to three axes of an accelerometer."""
    return _time_column(header) is not None and bool(_axis_columns(header))


def read_vibration(path: Path) -> VibrationLog:
    """Read a log and find the taps in it.

    Columns: a time (its unit in the name, s where there is none) and x, y, z under the names that loggers
    use; units of acceleration do not matter.  Raises InputError naming the line: a time that does not grow, a
    gap, text in a number; too few samples, no tap.
    """
    table = read_header(path)
    at, columns = _time_column(table.header), _axis_columns(table.header)
    if at is None or not columns:
        raise InputError(f"{path}: columns {', '.join(table.header)}: a time and x, y or z are needed.")
    time, value = _numbers(path, table, at, columns)
    rate = 1 / float(np.median(np.diff(time)))
    if rate < 10:
        raise InputError(
            f"{path}: {rate:.3g} samples a second: too few to see a bed ring. Is the unit of "
            f"{table.header[at]!r} right? Milliseconds are time_ms."
        )
    even = np.arange(time[0], time[-1], 1 / rate)
    found = np.stack([np.interp(even, time, v - v.mean()) for v in value.T], axis=-1)
    used = {at, *columns.values()}
    return VibrationLog(
        axes=tuple(columns),
        rate=rate,
        value=found,
        taps=find_taps(found, rate, path),
        unread=tuple(name for k, name in enumerate(table.header) if k not in used),
    )


def _time_column(header: list[str]) -> int | None:
    return next((k for k, name in enumerate(header) if _TIME.match(name.lower())), None)


def _axis_columns(header: list[str]) -> dict[str, int]:
    """Column of every axis, the first of each."""
    found: dict[str, int] = {}
    for k, name in enumerate(header):
        axis = _AXIS.search(name.lower())
        if axis and not _OTHER.search(name.lower()) and not _TIME.match(name.lower()):
            found.setdefault(axis[1], k)
    return dict(sorted(found.items()))


def _second(name: str) -> float:
    words = re.split(r"[^a-zµ]+", name.lower())
    return next((SECONDS[word] for word in reversed(words) if word in SECONDS), 1.0)


def _numbers(path: Path, table: TableText, at: int, columns: dict[str, int]) -> tuple[Array, Array]:
    chosen = [at, *columns.values()]
    rows = []
    for line, cells in table.rows[1:]:
        if (wrong := table.wrong_count(cells)) is not None:
            raise InputError(f"{path}: line {line} {wrong}.")
        row = [_one(cells[k], k == at) for k in chosen]
        for k, number in zip(chosen, row, strict=True):
            if not np.isfinite(number):
                raise InputError(f"{path}: line {line}, {table.header[k]} = {cells[k]!r}: must be a number.")
        rows.append(row)
    if len(rows) < LEAST:
        raise InputError(f"{path}: {len(rows)} samples: at least {LEAST} are needed.")
    data = np.array(rows)
    time = (data[:, 0] - data[0, 0]) * _second(table.header[at])
    steps = np.diff(time)
    for number, step in enumerate(steps):
        line = table.rows[number + 2][0]
        if step <= 0:
            raise InputError(f"{path}: line {line}, {table.header[at]}: does not grow.")
        if step > GAP * np.median(steps):
            raise InputError(f"{path}: line {line}: {step:.3g} s after the line before: a gap in the log.")
    return time, data[:, 1:]


def _one(cell: str, is_time: bool) -> float:
    """A cell; times may be counts of nanoseconds since 1970."""
    if not is_time:
        return as_number(cell)
    try:
        return float(cell)
    except ValueError:
        return float("nan")


def find_taps(value: Array, rate: float, path: Path) -> NDArray[np.intp]:
    """Where ring-downs begin and end: from behind a peak that stands out to the next, or into the noise."""
    size = np.sqrt((value**2).sum(axis=1))
    window = max(3, int(0.05 * rate))
    level = np.sqrt(scipy.ndimage.uniform_filter1d(size**2, window))
    quiet = max(float(np.percentile(level, 5)), 1e-9 * float(size.max()))
    peaks, _ = scipy.signal.find_peaks(size, height=WEAKEST * size.max(), distance=int(BETWEEN * rate))
    before = [float(level[max(0, p - 4 * window) : max(1, p - window)].mean()) for p in peaks]
    taps = [p for p, b in zip(peaks, before, strict=True) if size[p] > JUMP * b]
    found = []
    for k, peak in enumerate(taps):
        first = int(peak + max(1, round(HIT * rate)))
        last = min(int(peak + LONGEST * rate), size.size)
        if k + 1 < len(taps):
            last = min(last, int(taps[k + 1] - window))
        below = np.flatnonzero(level[first:last] < 1.5 * quiet)
        last = first + int(below[0]) if below.size else last
        if last - first >= SHORTEST * rate:
            found.append((first, last))
    if not found:
        raise InputError(
            f"{path}: no tap stands out of the noise and rings for {SHORTEST:g} s: tap harder, and leave a "
            "second between taps."
        )
    return np.array(found, dtype=np.intp)
