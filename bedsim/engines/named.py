"""The engines that there are, by name; the first is taken where none is named."""

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
