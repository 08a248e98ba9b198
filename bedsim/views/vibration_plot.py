"""An accelerometer's log: the taps in time, the spectrum with the modes found."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from bedsim.metrology.vibration_fit import VibrationFit
from bedsim.metrology.vibration_log import VibrationLog
from bedsim.units import MM
from bedsim.views import style


def draw_vibration(log: VibrationLog, fit: VibrationFit, title: str, path: Path) -> Path:
    """Draw the size of the motion over time with the ring-downs used, and the spectrum with the modes."""
    with style.page(path, 170 * MM, 125 * MM, title) as figure:
        above, below = figure.subplots(2, 1)
        size = np.linalg.norm(log.value, axis=1)
        above.plot(np.arange(size.size) / log.rate, size / size.max(), color=style.BLUE, linewidth=0.6)
        for k, (first, last) in enumerate(log.taps):
            label = "ring-downs used" if k == 0 else None
            above.axvspan(first / log.rate, last / log.rate, color=style.VERMILLION, alpha=0.18, label=label)
        above.set(xlabel="time (s)", ylabel="acceleration (of the largest)")
        above.legend(loc="upper right")
        level = 10 * np.log10(np.maximum(fit.density, 1e-9 * fit.density.max()) / fit.density.max())
        below.plot(fit.frequency, level, color=style.BLUE)
        for mode in fit.modes:
            below.axvline(mode.frequency, color=style.VERMILLION, linewidth=1)
            told = f"{mode.frequency:.1f} Hz, {mode.damping:.3f}"
            below.annotate(
                told,
                (mode.frequency, max(-60.0, float(level.min())) + 1),
                rotation=90,
                fontsize=7,
                ha="right",
                va="bottom",
            )
        below.axvspan(0, fit.band[0], color="0.9")
        below.axvspan(fit.band[1], fit.frequency[-1], color="0.9")
        below.set(xlabel="frequency (Hz); grey: not looked at", ylabel="power (dB of the largest)")
        below.set(xlim=(0, fit.frequency[-1]), ylim=(max(-60.0, float(level.min())), 4))
    return path
