"""Sweeps: many virtual printers drawn from lots of screws, cell by cell, and the answers they give."""

import sys

from bedsim.shown import Door

sys.modules[__name__].__class__ = Door  # bedsim.sweep(...)
