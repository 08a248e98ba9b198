"""Lateral stiffness of a shaft under one load, Euler load and axial train, against handbook forms.

W. C. Young, R. G. Budynas, Roark's Formulas for Stress and Strain, straight beams under a concentrated
intermediate load; the forms are quoted from memory and held against sympy's beam, which is solved by
singularity functions.  The numbers beside them are computed, not printed in any book: steel, E = 206 GPa,
G = 79.4 GPa, full round section, L = 300 mm; a finite element model of 60 elements gave the same six digits.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from sympy import Rational, symbols
from sympy.physics.continuum_mechanics.beam import Beam

from bedsim.components.screw import Screw, axial_compliances, buckling_load, shaft_stiffness
from bedsim.units import MM, N_PER_MM, N_PER_UM

pytestmark = pytest.mark.exact_inputs("the same numbers stand on both sides")
L = 0.3
SCREW = Screw(
    balls=False,
    diameter=10e-3,
    root_diameter=8e-3,
    pitch=2e-3,
    lead=8e-3,
    hand=1,
    length=L,
    ends="fixed-free",
    youngs_modulus=206e9,
    shear_modulus=79.4e9,
    density=7850.0,
    bearing_radial=1e14,
    upper_bearing_radial=1e14,
    bearing_tilt=1e11,
    bearing_axial=1e14,
    coupling=1e14,
)
HANDBOOK = {
    "fixed-free": lambda EI, a, b: 3 * EI / a**3,
    "supported-supported": lambda EI, a, b: 3 * EI * L / (a**2 * b**2),
    "fixed-supported": lambda EI, a, b: 12 * EI * L**3 / (a**3 * b**2 * (3 * L + b)),
    "fixed-fixed": lambda EI, a, b: 3 * EI * L**3 / (a**3 * b**3),
}
# diameter mm, ends, stiffness N/mm at 50, 150, 250 mm; computed
TABLE = [
    (8, "fixed-free", (994.05, 36.817, 7.9524)),
    (8, "supported-supported", (238.57, 73.633, 238.57)),
    (8, "fixed-supported", (1493.67, 168.305, 361.63)),
    (8, "fixed-fixed", (1717.72, 294.533, 1717.72)),
    (12, "fixed-free", (5032.4, 186.384, 40.259)),
    (12, "supported-supported", (1207.8, 372.77, 1207.8)),
    (12, "fixed-supported", (7561.7, 852.04, 1830.7)),
    (12, "fixed-fixed", (8696.0, 1491.08, 8696.0)),
]


def lateral(screw, position):
    """Force per deflection at the nut with no moment there, N/m."""
    return 1 / np.linalg.inv(shaft_stiffness(screw, np.array([position])))[0, 0, 0]


@pytest.mark.parametrize("ends", HANDBOOK)
@pytest.mark.parametrize("position", [0.03, 0.1, 0.2, 0.28])
def test_concentrated_load_between_stiff_bearings(ends, position):
    screw = replace(SCREW, ends=ends)
    EI = screw.youngs_modulus * math.pi / 64 * screw.root_diameter**4
    # The bearings are 1e14 N/m and 1e11 N m/rad: that much is left.
    assert lateral(screw, position) == pytest.approx(HANDBOOK[ends](EI, position, L - position), rel=1e-5)


@pytest.mark.parametrize("ends", HANDBOOK)
def test_concentrated_load_against_a_symbolic_beam(ends):
    """sympy.physics.continuum_mechanics.Beam: reactions and deflection under 1 N at 200 mm."""
    EI, at = SCREW.youngs_modulus * math.pi / 64 * SCREW.root_diameter**4, 0.2
    beam = Beam(Rational(3, 10), 1, 1)
    beam.apply_load(-1, Rational(1, 5), -1)
    lower, upper = ends.split("-")
    unknown = []
    for place, kind in ((0, lower), (Rational(3, 10), upper)):
        if kind == "free":
            continue
        names = symbols(f"R_{place} M_{place}")
        for name, order in zip(names[: 2 if kind == "fixed" else 1], (-1, -2), strict=False):
            beam.apply_load(name, place, order)
            unknown.append(name)
        beam.bc_deflection.append((place, 0))
        if kind == "fixed":
            beam.bc_slope.append((place, 0))
    beam.solve_for_reaction_loads(*unknown)
    sunk = abs(float(beam.deflection().subs(beam.variable, Rational(1, 5)))) / EI
    assert lateral(replace(SCREW, ends=ends), at) == pytest.approx(1 / sunk, rel=1e-5)


@pytest.mark.parametrize(("diameter", "ends", "values"), TABLE)
def test_computed_table_of_lateral_stiffness(diameter, ends, values):
    screw = replace(SCREW, ends=ends, root_diameter=diameter * MM)
    found = [lateral(screw, z * MM) / N_PER_MM for z in (50, 150, 250)]
    np.testing.assert_allclose(found, values, rtol=5e-5)  # half a unit of the last of five digits


def test_euler_load_of_a_cantilever_computed():
    """pi^2 EI/(4 L^2) for 8 mm and 300 mm: 1135.5 N, computed from Euler's formula."""
    assert buckling_load(SCREW, np.array([L]))[0] == pytest.approx(1135.5, abs=0.05)


def test_stretch_and_twist_of_the_axial_train_computed():
    """EA/L = 34.5156 N/um; torsion seen along a lead of 8 mm 65.6506 N/um; computed."""
    parts = axial_compliances(SCREW, np.array([L - 8e-3]))
    scale = (L - 8e-3) / L  # the nut stays one diameter off the end
    assert scale / parts["shaft"][0] / N_PER_UM == pytest.approx(34.5156, rel=2e-6)
    assert scale / parts["torsion"][0] / N_PER_UM == pytest.approx(65.6506, rel=2e-6)


@pytest.mark.parametrize(("lead_mm", "per_um"), [(2, 1050.4), (8, 65.65)])
def test_torsion_matters_at_a_coarse_lead_only_computed(lead_mm, per_um):
    parts = axial_compliances(replace(SCREW, lead=lead_mm * MM), np.array([0.15]))
    assert 0.5 / parts["torsion"][0] / N_PER_UM == pytest.approx(per_um, rel=1e-4)
