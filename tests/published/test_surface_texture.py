"""The Gaussian profile filter's constants and a cut-off of the periodic series, as read."""

import numpy as np
import pytest
from printed import digits

from bedsim.wall.waviness import ALPHA, cutoff_for_layers, transmission


@pytest.mark.read("surfalize 0.19.2 (pypi.org), filter.py: alpha = sqrt(ln 2/pi) = 0.469719")
@pytest.mark.exact_inputs("a constant, nothing goes into it")
def test_constant_of_the_filter(record_property):
    record_property("u_data", digits("0.469719"))
    assert pytest.approx(0.469719, abs=5e-7) == ALPHA


@pytest.mark.read("surfalize 0.19.2 (pypi.org), filter.py: sigma = cutoff sqrt(2 ln 2)/(2 pi)")
@pytest.mark.exact_inputs("wavelength over cut-off is chosen")
def test_transmission_of_a_gaussian_of_that_width():
    """A Gaussian of standard deviation sigma passes exp(-2 (pi sigma/lambda)^2) of a sine."""
    width = np.sqrt(2 * np.log(2)) / (2 * np.pi)
    for wavelength in (0.5, 1.0, 3.0):
        passed = np.exp(-2 * (np.pi * width / wavelength) ** 2)
        assert transmission(wavelength, 1.0) == pytest.approx(passed, rel=1e-9)


@pytest.mark.read(
    "www.globalspec.com/reference/46951/203279, chapter 3, table after ISO 4288: periodic spacing 0.04 to "
    "0.13 mm takes a cut-off of 0.25 mm; 0.01 (0.013) to 0.04 mm one of 0.08 mm. The rows above were cut off."
)
@pytest.mark.exact_inputs("a row of a table, looked up within it")
def test_cutoffs_of_thin_layers():
    assert cutoff_for_layers(0.1e-3) == pytest.approx(0.25e-3)
    assert cutoff_for_layers(0.03e-3) == pytest.approx(0.08e-3)
