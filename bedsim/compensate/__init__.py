"""What a machine can take off its own print: corrections, what they leave, and how well the phase must be
known."""

import sys

from bedsim.shown import Door

sys.modules[__name__].__class__ = Door  # bedsim.compensate(...)
