"""Closed formulas for whether the drive holds, turns and lasts, each with its source and limits."""
