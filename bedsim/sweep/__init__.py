"""Sweeps: many virtual printers drawn from lots of screws, cell by cell, and the answers they give."""
