"""Numbers on the command line: finite, and between bounds that the message names."""

from __future__ import annotations

import math
from typing import Any

import click

from bedsim.cli.paths import option_of
from bedsim.errors import InputError
from bedsim.scenario.faults import shown

MOST = 1e9
"""Of whatever unit: what is larger is a slip, and overflows further on."""


class Number(click.ParamType):
    """A number above `above` or from `least` on, below `below` or up to `most`."""

    name = "number"

    def __init__(
        self,
        *,
        above: float | None = None,
        least: float = -MOST,
        below: float | None = None,
        most: float = MOST,
        hint: str = "",
    ) -> None:
        self.above, self.least, self.below, self.most, self.hint = above, least, below, most, hint

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Give the number.  Raises InputError."""
        try:
            found = float(value)
        except ValueError:
            raise InputError(f"{option_of(param)} = {shown(str(value))}: must be a number.") from None
        low = found >= self.least if self.above is None else found > self.above
        high = found <= self.most if self.below is None else found < self.below
        if not (math.isfinite(found) and low and high):
            said = f"{option_of(param)} = {found:g}: must be {self.rule}. {self.hint}"
            raise InputError(said.rstrip())
        return found

    @property
    def rule(self) -> str:
        """What is allowed, in words."""
        low = f"at least {self.least:g}" if self.above is None else f"above {self.above:g}"
        high = f"at most {self.most:g}" if self.below is None else f"below {self.below:g}"
        return f"{low} and {high}"
