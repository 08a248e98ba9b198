"""What a change costs elsewhere, and what is refused for it.

Limits are our choice where no source is named: they keep a list of remedies from naming one that breaks
something else.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from bedsim.analysis.cautions import LOAD_ANGLE_LIMIT
from bedsim.analysis.printed import quantity, rounded
from bedsim.improve.answers import Standing, WorstAnswer

MOST_SIDE_FORCE = 200.0
"""N on a guide, bed warm; small profile rails bear ten times that, their screws and frames bend."""
LEAST_BUCKLING = 3.0
"""Buckling load over load; common practice asks for 3 to 4, no source."""
LEAST_SIDE_FORCE, FAR_FROM_BUCKLING = 2.0, 30.0
"""N and margin from which on they are told."""
TOLD = 0.1
"""Part of itself by which something must change to be told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """One thing that changes: its key in JSON, words, before and after in SI (or a ratio); `of_note`: whether
    it is of a size that matters."""

    key: str
    words: str
    unit: str
    before: float
    after: float
    of_note: bool

    @property
    def text(self) -> str:
        """For reading."""
        return f"{self.words} {_told(self.before, self.unit)} to {_told(self.after, self.unit)}"

    @property
    def moved(self) -> bool:
        """Whether it is worth telling."""
        return self.of_note and abs(self.after - self.before) > TOLD * abs(self.before)


def _told(value: float, unit: str) -> str:
    if unit in ("m", "N", "rad"):
        return quantity(value, unit)
    if unit == "%":
        return f"{100 * value:.0f} %"
    return f"{rounded(value)} {unit}".rstrip()


def effects(before: WorstAnswer, after: WorstAnswer, stood: Standing, stands: Standing) -> tuple[Effect, ...]:
    """Everything beside the error that is asked for."""

    def one(key: str, words: str, unit: str, now: float, then: float, *, of_note: bool = True) -> Effect:
        return Effect(key=key, words=words, unit=unit, before=now, after=then, of_note=of_note)

    felt = max(before.side_force, after.side_force) >= LEAST_SIDE_FORCE
    near = min(stood.buckling, stands.buckling) <= FAR_FROM_BUCKLING
    return (
        one("side_force_n", "side force, bed warm,", "N", before.side_force, after.side_force, of_note=felt),
        one("load_angle_rad", "load angle", "rad", before.load_angle, after.load_angle),
        one("joint_travel_share", "joint travel used", "%", before.travel, after.travel),
        one("buckling_margin", "margin against buckling", "", stood.buckling, stands.buckling, of_note=near),
        one("lowest_mode_hz", "lowest mode", "Hz", stood.mode, stands.mode),
    )


def refused(before: WorstAnswer, after: WorstAnswer, height_target: float | None = None) -> str:
    """Why a change is refused for its errors and forces; "" where it is not."""
    return next(_reasons(before, after, height_target), "")


def _reasons(before: WorstAnswer, after: WorstAnswer, height_target: float | None) -> Iterator[str]:
    if after.side_force > MOST_SIDE_FORCE and after.side_force > (1 + TOLD) * before.side_force:
        yield f"{quantity(after.side_force, 'N')} on the guides when the bed is warm"
    if after.travel >= 1.0 > before.travel:
        yield "a joint uses up its travel"
    if after.load_angle > LOAD_ANGLE_LIMIT and after.load_angle > (1 + TOLD) * before.load_angle:
        yield f"the motors' load angle reaches {quantity(after.load_angle, 'rad')}"
    if after.seat < 0.0 <= before.seat:
        yield "the bed lifts off a mount"
    if height_target is not None and before.height <= height_target < after.height:
        yield f"the height error becomes {quantity(after.height, 'm')} and misses its target"


def weakened(stood: Standing, stands: Standing) -> str:
    """Why a change is refused for the screws' strength; "" where it is not."""
    if stands.buckling < LEAST_BUCKLING and stands.buckling < (1 - TOLD) * stood.buckling:
        return f"the screws come within {rounded(stands.buckling)} times their buckling load"
    return ""
