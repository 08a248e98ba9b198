"""What levers cost: given on the command line, else what the scenario's [prices] say of screws."""

from __future__ import annotations

import math
from collections.abc import Sequence
from difflib import get_close_matches

from bedsim import registry
from bedsim.errors import InputError
from bedsim.improve.levers import LEVERS
from bedsim.scenario.load import LoadedScenario

NEW_SCREW = ("screw.kind", "screw.diameter_mm", "screw.lead_mm", "screw.travel")
"""Levers for which every corner gets a new screw."""


def prices_for(loaded: LoadedScenario, given: Sequence[str]) -> dict[str, float]:
    """EUR by lever from texts LEVER=EUR, on top of the scenario's own prices of screws.

    Raises InputError for a text, a lever or a price that cannot be used.
    """
    return _of_scenario(loaded) | dict(_read(text) for text in given)


def _of_scenario(loaded: LoadedScenario) -> dict[str, float]:
    own = loaded.scenario.prices
    if own is None:
        return {}
    rolls = registry.screw_kind(loaded.scenario.corner[0].screw.kind).rolls
    price = own.ball_screw if rolls else own.plain_screw
    return {} if price is None else dict.fromkeys(NEW_SCREW, price)


def _read(text: str) -> tuple[str, float]:
    name, equals, number = (part.strip() for part in text.partition("="))
    names = [lever.name for lever in LEVERS]
    if not equals:
        raise InputError(f"--price {text}: is written LEVER=EUR, for example --price joint.kind=25.")
    if name not in names:
        near = get_close_matches(name, names, n=1)
        hint = f"Did you mean {near[0]}?" if near else f"Levers: {', '.join(names)}."
        raise InputError(f"--price {text}: there is no lever {name!r}. {hint}")
    try:
        price = float(number)
    except ValueError:
        price = math.nan
    if not 0.0 <= price < math.inf:
        raise InputError(f"--price {text}: must be a number of at least 0, in EUR per corner.")
    return name, price
