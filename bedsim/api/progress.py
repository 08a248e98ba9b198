"""A bar in a notebook; nothing anywhere else."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any


def notebook_bar(what: str) -> Callable[[int, int], None]:
    """A function to call with what is done and what there is to do; shows a bar where cells are shown."""
    display = _display()
    shown: list[Any] = []

    def tell(done: int, total: int) -> None:
        if display is None:
            return
        bar = _Bar(what, done, total)
        if shown:
            shown[0].update(bar)
        else:
            shown.append(display(bar, display_id=True))

    return tell


def _display() -> Any:
    """How this notebook shows things; None where the program runs in none."""
    shell = sys.modules.get("IPython")
    here = shell.get_ipython() if shell is not None else None
    if here is None or not hasattr(here, "kernel"):
        return None
    return shell.display.display if shell is not None else None


class _Bar:
    """A bar as HTML, and in words for what shows no HTML."""

    def __init__(self, what: str, done: int, total: int) -> None:
        self._what, self._done, self._total = what, done, total

    def __repr__(self) -> str:
        return f"{self._done} of {self._total} {self._what}"

    def _repr_html_(self) -> str:
        return f"<progress value='{self._done}' max='{self._total}'></progress> {self!r}"
