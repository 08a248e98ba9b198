"""Ways to solve the assembled model; an engine sees matrices and forces, never a screw."""

from bedsim.engines.base import Engine
from bedsim.engines.deviations import DeviationsEngine
from bedsim.engines.equilibrium import EquilibriumEngine
from bedsim.engines.propagator import PropagatorEngine
from bedsim.engines.reference import ReferenceEngine

ENGINES: dict[str, Engine] = {
    "propagator": PropagatorEngine(),
    "reference": ReferenceEngine(motor_sine=True),
    "equilibrium": EquilibriumEngine(),
    "deviations": DeviationsEngine(),
}
