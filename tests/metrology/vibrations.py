"""Made-up logs of a tapped bed, shared by tests."""

import numpy as np

from bedsim.metrology.vibration_log import VibrationLog, find_taps

MODES = ((12.0, (1, 0.1, 0)), (19.0, (0, 1, 0.1)), (34.0, (0.1, 0, 0.8)))


def rung(rng, modes, rate=200.0, taps=5, noise=0.02):
    """Samples (n, 3): every tap excites all modes, each by its own strength; white noise."""
    t = np.arange(int((2 * taps + 1) * rate)) / rate
    value = rng.normal(0, noise, (t.size, 3))
    for k in range(taps):
        since = t - 1 - 2 * k - rng.uniform(-0.1, 0.1)
        on = since >= 0
        for f, ratio, way in modes:
            w = 2 * np.pi * f
            wave = np.exp(-ratio * w * since[on]) * np.sin(w * np.sqrt(1 - ratio**2) * since[on])
            value[on] += rng.uniform(0.5, 1.5) * np.outer(wave, way)
    return value - value.mean(axis=0)


def drawn(rng):
    return [(f * rng.uniform(0.9, 1.1), rng.uniform(0.01, 0.05), np.array(way)) for f, way in MODES]


def log_of(value, rate=200.0):
    taps = find_taps(value, rate, "made up")
    return VibrationLog(axes=("x", "y", "z"), rate=rate, value=value, taps=taps, unread=())
