"""One machine from all its readings: what they say together of screws, stiffnesses and the answer."""

import sys

from bedsim.shown import Door

sys.modules[__name__].__class__ = Door  # bedsim.learn(...)
