"""Published contrast sensitivity functions.

Mannos and Sakrison (1974), IEEE Trans. Inf. Theory 20, 525-536: A(f) = 2.6 (0.0192 + 0.114 f) exp(-(0.114
f)^1.1), said there to peak at f = 8 cycles per degree.  Formula and peak quoted from memory.
Barten (2004), Proc. SPIE 5294, 231-238: simplified formula, quoted from memory; only its known features
are checked here (peak of several hundred at 3 to 6 cycles per degree for 100 cd/m2 and 10 degrees, fall to
about 1 near 60).
"""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from bedsim.analysis.visibility import barten, mannos_sakrison


def test_mannos_sakrison_peaks_at_eight_cycles_per_degree():
    peak = minimize_scalar(lambda f: -float(mannos_sakrison(f)), bounds=(1, 30), method="bounded").x
    assert round(peak) == 8
    assert float(mannos_sakrison(peak)) == pytest.approx(0.98, abs=0.005)


def test_mannos_sakrison_at_zero_is_its_constant():
    """2.6 x 0.0192 = 0.04992."""
    assert float(mannos_sakrison(0.0)) == pytest.approx(0.04992)


def test_barten_has_its_known_features():
    f = np.linspace(0.3, 60, 2000)
    s = barten(f, 100.0, 10.0)
    assert 3 < f[np.argmax(s)] < 6
    assert 300 < s.max() < 700
    assert 30 < f[np.argmax(s < 1)] < 60
    assert np.all(barten(f, 1.0) < s)
    assert np.all(barten(f, 100.0, 2.0) < s)
