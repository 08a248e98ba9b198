"""The figures of many printers at once, added up over chunks of layers.

The same figures as of a single run (`bedsim.analysis.figures`), for all members of a block together.  The
largest lateral extent is searched in steps of 5 degrees and sharpened between them; it is within 0.1 % of the
single run's (a bound; the usual difference is far smaller).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bedsim.analysis import metrics
from bedsim.analysis.figures import METRICS
from bedsim.engines.base import LOST_STEP, Job
from bedsim.quantities import FIGURES
from bedsim.sweep.response import Values

Array = NDArray[np.float64]

DIRECTIONS = 36
ENVELOPE_MEMBERS = 512  # of each cell: enough for quantiles of 5 and 95 %, and the files stay small
_IDENTITY_COLUMNS = 512


def metric_names(engine: str) -> tuple[str, ...]:
    """Figures that the engine can tell, in the order of every table."""
    vibrates = engine != "equilibrium"
    hidden = {q.name for q in FIGURES if q.of_solver or (q.by_vibration and not vibrates)}
    return tuple(m.name for m in METRICS if m.name not in hidden)


def band_rows(height: Array, wavelength: float) -> NDArray[np.complex128]:
    """The linear map (n,) from an error over the layers to its phasor, see `metrics.phasor_at`."""
    rows = []
    for first in range(0, height.size, _IDENTITY_COLUMNS):
        unit = np.zeros((height.size, min(_IDENTITY_COLUMNS, height.size - first)))
        unit[np.arange(first, first + unit.shape[1]), np.arange(unit.shape[1])] = 1.0
        rows.append(metrics.phasor_at(height, unit, wavelength))
    return np.concatenate(rows)


class Bands:
    """Maps to the phasors of every corner's lead at the probe nearest its screw."""

    def __init__(self, job: Job, leads: tuple[float, ...]) -> None:
        height = job.machine.stations.z
        by_lead = {lead: band_rows(height, metrics.seen_wavelength(height, lead)) for lead in set(leads)}
        self.rows = np.stack([by_lead[lead] for lead in leads])  # (c, n)
        self.probe = [metrics.nearest(job.probes, corner) for corner in job.machine.corner_position]


class Tally:
    """Running extremes and sums for `members` printers; `add` all chunks in order, then read `figures`."""

    def __init__(self, job: Job, bands: Bands | None, members: int, keep: int) -> None:
        """`bands`: None where only extents are asked for; `keep`: of how many of the first members the
        envelope values are kept."""
        probes, corners = job.probes.shape[0], len(job.machine.corner_names)
        angle = np.arange(DIRECTIONS) * np.pi / DIRECTIONS
        self._cos, self._sin = np.cos(angle), np.sin(angle)
        self._far = np.full((DIRECTIONS, probes, members), -np.inf)
        self._near = np.full((DIRECTIONS, probes, members), np.inf)
        self._top, self._bottom = np.full((probes, members), -np.inf), np.full((probes, members), np.inf)
        self._last: Array | None = None
        self._thickness = np.zeros(members)
        self._bands = bands
        self._phasor = np.zeros((corners, 3, members), dtype=np.complex128)
        self._worst = {q.name: np.full(members, np.nan) for q in FIGURES}
        self._travel = job.machine.joint_travel
        self._stopped = np.zeros(members, dtype=bool)
        self._kept = np.zeros((keep, job.program.layers, 2), dtype=np.float32)

    def add(self, v: Values) -> None:
        """Take in the next layers."""
        self._extent(v)
        before = np.zeros_like(v.height[0]) if self._last is None else self._last
        steps = np.diff(np.concatenate([before[None], v.height]), axis=0)
        self._thickness = np.maximum(self._thickness, np.abs(steps).max(axis=(0, 1)))
        self._last = v.height[-1]
        self._band(v)
        for q in FIGURES:
            if q.name in v.reported:
                values, total = v.reported[q.name], self._worst[q.name]
                q.extreme(total, q.extreme.reduce(values, axis=tuple(range(values.ndim - 1))), out=total)
        self._stopped |= (v.reported["joint_excursion"] > self._travel[None, :, None]).any(axis=(0, 1))
        self._stopped |= (v.reported["load_angle"] > LOST_STEP).any(axis=(0, 1))
        self._keep(v)

    def _extent(self, v: Values) -> None:
        x, y = np.ascontiguousarray(v.lateral[:, :, 0]), np.ascontiguousarray(v.lateral[:, :, 1])
        for k in range(DIRECTIONS):
            along = x * self._cos[k]
            along += y * self._sin[k]
            np.maximum(self._far[k], along.max(axis=0), out=self._far[k])
            np.minimum(self._near[k], along.min(axis=0), out=self._near[k])
        np.maximum(self._top, v.height.max(axis=0), out=self._top)
        np.minimum(self._bottom, v.height.min(axis=0), out=self._bottom)

    def _band(self, v: Values) -> None:
        if self._bands is None:
            return
        for c, probe in enumerate(self._bands.probe):
            row = self._bands.rows[c, v.layers - 1]
            shown = np.concatenate([v.lateral[:, probe], v.height[:, probe, None]], axis=1)
            flat = shown.reshape(row.size, -1)
            part = (row.real @ flat) + 1j * (row.imag @ flat)
            self._phasor[c] += part.reshape(self._phasor[c].shape)

    def _keep(self, v: Values) -> None:
        keep = len(self._kept)
        if keep:
            lateral = np.hypot(v.lateral[:, :, 0, :keep], v.lateral[:, :, 1, :keep]).max(axis=1)
            self._kept[:, v.layers - 1, 0] = lateral.T
            self._kept[:, v.layers - 1, 1] = np.abs(v.height[:, :, :keep]).max(axis=1).T

    @property
    def lateral_pv(self) -> Array:
        """Largest lateral extent (m,) over probes and directions."""
        return sharpened(np.maximum(self._far - self._near, 0.0)).max(axis=0)

    @property
    def height_pv(self) -> Array:
        """Largest height error, peak to valley (m,), over the probes."""
        return np.asarray((self._top - self._bottom).max(axis=0))

    @property
    def stopped(self) -> NDArray[np.bool_]:
        """Whether a joint used up its travel (m,)."""
        return self._stopped

    @property
    def envelope(self) -> NDArray[np.float32]:
        """Largest lateral and height error over the probes (kept members, layers, 2) m."""
        return self._kept

    def figures(self, names: tuple[str, ...]) -> Array:
        """The named figures (m, names) in SI."""
        a, b, h = np.moveaxis(self._phasor, 1, 0)
        lateral = np.sqrt((np.abs(a) ** 2 + np.abs(b) ** 2 + np.abs(a**2 + b**2)) / 2.0)
        found = {
            "lateral_pv": self.lateral_pv,
            "height_pv": self.height_pv,
            "thickness_error": self._thickness,
            "lateral_band": _largest_told(lateral),
            "height_band": _largest_told(np.abs(h)),
            **self._worst,
        }
        return np.stack([found[name] for name in names], axis=1)


def largest_extent(lateral: Array) -> Array:
    """Largest lateral extent (m,) over probes and directions of errors (l, p, 2, m)."""
    angle = np.arange(DIRECTIONS) * np.pi / DIRECTIONS
    along = [np.ptp(lateral[:, :, 0] * np.cos(a) + lateral[:, :, 1] * np.sin(a), axis=0) for a in angle]
    return np.asarray(sharpened(np.stack(along)).max(axis=0))


def sharpened(extent: Array) -> Array:
    """Largest extent over all directions from those at equal steps over half a turn, extent (d, ...).

    Around the largest, extent^2 = A + B cos 2(angle - peak): exact for two points and for an ellipse.  Held
    between the value found and that value / cos(half a step), which no direction can exceed.
    """
    count = extent.shape[0]
    best = extent.argmax(axis=0)[None]
    here, before, after = (np.take_along_axis(extent, (best + k) % count, axis=0)[0] ** 2 for k in (0, -1, 1))
    step = 2 * np.pi / count
    a_cos = (here - (before + after) / 2) / (1 - np.cos(step))
    a_sin = (after - before) / (2 * np.sin(step))
    peak = here - a_cos + np.hypot(a_cos, a_sin)
    bound = here / np.cos(np.pi / (2 * count)) ** 2
    return np.asarray(np.sqrt(np.clip(peak, here, bound)))


def _largest_told(values: Array) -> Array:
    """Largest over corners (c, m), NaN only where none could be told."""
    told = np.where(np.isnan(values), -1.0, values).max(axis=0)
    return np.where(told < 0, np.nan, told)
