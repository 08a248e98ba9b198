"""The walls of all runs at the same place, judged by the eye."""

from __future__ import annotations

from collections.abc import Sequence

from bedsim.comparison.compared import Compared, Comparison
from bedsim.wall.visibility import Viewing, wall_side
from bedsim.wall.worst import JudgedWall, printed_walls, wall_places


def walls_of_all(
    comparison: Comparison, items: Sequence[Compared], walls: Sequence[str], probe: str | None
) -> tuple[tuple[JudgedWall, ...], ...]:
    """Every wall that is asked for, of every run; by default the wall of all runs that shows most.

    Raises InputError for a wall or probe that is not there.
    """
    runs = [printed_walls(p, i.loaded.scenario) for p, i in zip(comparison.layers, items, strict=True)]
    viewing = Viewing(side=wall_side(max(float(p.print_height[-1]) for p in comparison.layers)))
    places = wall_places(runs, walls, probe, viewing)
    return tuple(tuple(r.judged(place, viewing) for r in runs) for place in places)
