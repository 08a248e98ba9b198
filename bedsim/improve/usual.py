"""What is usual for a key at a corner: its default with the range that stands for it."""

from __future__ import annotations

from typing import Any

from bedsim.scenario.defaults import Default, default_ranges, kind_of
from bedsim.scenario.derived_defaults import derived_defaults
from bedsim.scenario.schema import Corner


def usual_of(corner: Corner, key: str) -> Default | None:
    """The default of a part's key (`guide.tilt_nm_per_rad`) at a corner, or None where it has none."""
    return usual_values(corner, key.split(".")[0]).get(key.split(".")[-1])


def usual_values(corner: Corner, part: str) -> dict[str, Default]:
    """Every default of a part at a corner by key, those that follow from what stands beside them included."""
    tables: dict[str, Any] = corner.model_dump()
    kind = kind_of(part, tables)
    return {**default_ranges(part, kind or "any"), **derived_defaults(part, kind, tables)}
