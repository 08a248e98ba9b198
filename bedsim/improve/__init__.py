"""What a builder can change, ranked by what it gains, and what it costs elsewhere."""

import sys

from bedsim.shown import Door

sys.modules[__name__].__class__ = Door  # bedsim.improve(...)
