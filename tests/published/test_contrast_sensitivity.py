"""Published contrast sensitivity: curves, and what observers saw.

Barten (2004), Proc. SPIE 5294, 231-238, simplified formula: read as coded in a public repository (gfxdisp,
motion_quality_20, csf_barten_2.m).  Mannos and Sakrison (1974), IEEE Trans. Inf. Theory 20, 525-536, A(f) =
2.6 (0.0192 + 0.114 f) exp(-(0.114 f)^1.1): read as coded in ten public programs; that its peak lies at f = 8
is from memory.  Measured sensitivities: castleCSF data set, data_aggregated_merged.csv, read; that its cone
contrast is divided by sqrt 3 is from memory of the paper.
"""

import numpy as np
import pytest
from printed import digits
from scipy.optimize import minimize_scalar

from bedsim.wall.visibility import SPREAD, barten, mannos_sakrison


@pytest.mark.read(
    "github.com/qianglisinoeusa/CSFpy, chromatic_spatial_CSFs.py line 293: the formula; peak 0.981 at 7.89"
)
@pytest.mark.exact_inputs("the formula's own printed constants stand on both sides")
def test_mannos_sakrison_peaks_at_eight_cycles_per_degree(record_property):
    record_property("u_data", digits("0.981"))
    peak = minimize_scalar(lambda f: -float(mannos_sakrison(f)), bounds=(1, 30), method="bounded").x
    assert round(peak) == 8
    assert float(mannos_sakrison(peak)) == pytest.approx(0.981, abs=0.0005)


@pytest.mark.read("github.com/qianglisinoeusa/CSFpy, chromatic_spatial_CSFs.py line 293: 2.6 (0.0192 + ...)")
@pytest.mark.exact_inputs("the formula's own printed constants stand on both sides")
def test_mannos_sakrison_at_zero_is_its_constant():
    """2.6 x 0.0192 = 0.04992."""
    assert float(mannos_sakrison(0.0)) == pytest.approx(0.04992)


# study: luminance (cd/m2), area of the patch (square degrees), cycles per degree and sensitivity as read
MEASURED = {
    "Mantiuk et al., 20 cd/m2": (
        *(20, 7.07),
        "0.125:26 0.25:43 0.5:99 1:189 1.41:282 2:298 2.83:325 4:236 8:120 16:22",
    ),
    "Mantiuk et al., 150 cd/m2": (
        *(150, 7.07),
        "0.125:23 0.25:38 0.5:84 1:190 1.41:252 2:259 2.83:275 4:237 8:177 16:39",
    ),
    "Rovamo et al. 1993, small": (50, 15, "0.25:84 0.5:118 1:205 2:322 4:387 8:402"),
    "Rovamo et al. 1993, large": (50, 60, "0.125:139 0.25:132 0.5:201 1:404 2:470 4:566"),
    "Virsu 1979": (10, 19.6, "0.5:177 1:261 2:334 4:334 8:246 16:74"),
    "Robson 1966": (
        *(20, 6.25),
        "0.5:29 0.5:42 0.71:70 1:96 1.41:146 2:166 2.83:211 4:168 4:216 5.66:179 8:149 11.3:78 16:31 16:39",
    ),
    "ModelFest": (30, 0.79, "1.12:66 2:91 2.83:116 4:128 5.66:98 8:70 11.3:42 16:20"),
    "Wright 1983": (100, 2.35, "2:203 6:147"),
}


def ratios():
    """Cycles per degree, and Barten's curve at the study's own luminance and patch over what it measured."""
    for luminance, area, points in MEASURED.values():
        for point in points.split():
            frequency, measured = (float(part) for part in point.split(":"))
            yield frequency, float(barten(frequency, luminance, area**0.5)) / measured


@pytest.mark.read("github.com/gfxdisp/castleCSF, data_aggregated_merged.csv")
def test_the_spread_of_the_studies_holds_what_every_study_measured():
    """And at the frequencies of leads no more than it must: both edges are reached within a tenth."""
    frequency, low, high = SPREAD["barten"]
    found = np.array(list(ratios()))
    at = np.log(found[:, 0])
    assert np.all(found[:, 1] >= np.interp(at, np.log(frequency), low))
    assert np.all(found[:, 1] <= np.interp(at, np.log(frequency), high))
    near = found[(found[:, 0] >= 0.5) & (found[:, 0] <= 4)]
    assert near[:, 1].min() < 1.1 * min(low[2:6])
    assert near[:, 1].max() > max(high[2:6]) / 1.1


@pytest.mark.read("github.com/gfxdisp/castleCSF, data_aggregated_merged.csv")
def test_a_curve_scaled_to_two_hundred_sees_too_little_at_long_bands():
    """At 1 cycle per degree people on patches of 2.5 degrees and more see 1.5 to 6 times less contrast."""
    at_one = [
        float(s.split(":")[1])
        for _, area, points in MEASURED.values()
        for s in points.split()
        if s.startswith("1:") and area > 5
    ]
    apart = np.array(at_one) / (200 * float(mannos_sakrison(1.0)))
    assert (round(apart.min(), 1), round(apart.max(), 1)) == (1.5, 6.4)
