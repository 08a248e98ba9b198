"""A lever pulled at its place in a machine: the keys it sets there, in words and with its price."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from typing import Any

from bedsim.improve.lever import PRICES, Change, Lever, Option
from bedsim.improve.levers import LEVERS
from bedsim.improve.usual import usual_of
from bedsim.ranges.draws import Draw, quantile
from bedsim.scenario.idle_rules import SAID_BY_PROGRAM
from bedsim.scenario.keys import PARTS
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.schema import Corner
from bedsim.scenario.sections import thicknesses_mm, without

SET_WITHIN_MM = 1.5
"""How well a height is set: mm either way, triangular.  Our assumption."""
SAME = 1e-3
"""Part of itself by which a number must change to be another."""
BELOW_TOP_MM = 60.0

Values = Mapping[str, Any]
Prices = Mapping[str, float]
"""EUR of a lever by its name, per corner (per machine where it is one of the machine)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LeverStep:
    """A lever's option at some corners (none: in the machine)."""

    lever: Lever
    option: Option
    corners: tuple[str, ...]

    @property
    def words(self) -> str:
        """What to do."""
        return (
            f"{self.option.words}, {self.corners[0]}" if self.lever.scope == "corner" else self.option.words
        )

    @property
    def keys(self) -> frozenset[str]:
        """Full names of the keys that are set."""
        return frozenset(self._name(change.key, corner) for change, corner in self.places)

    @property
    def places(self) -> Iterator[tuple[Change, str]]:
        """Every change with its corner ("" for the machine), those that follow other keys last."""
        changes = sorted(self.option.changes, key=lambda c: c.level_with is not None)
        return ((c, corner) for c in changes for corner in self.corners or ("",))

    @property
    def cancels(self) -> bool:
        """Whether it works by cancelling."""
        return self.lever.cancels if self.option.cancels is None else self.option.cancels

    @property
    def software(self) -> bool:
        """Whether it leaves the machine as it is."""
        return self.option.software

    @property
    def levels(self) -> bool:
        """Whether it takes the height of another part instead of a number."""
        return any(change.level_with for change in self.option.changes)

    def cost(self, prices: Prices) -> float:
        """EUR for the whole machine: a price given for the lever, else that of its class."""
        shared = self.lever.price if self.option.price is None else self.option.price
        each = prices.get(self.lever.name, PRICES[shared])
        return each * max(len(self.corners), 1)

    def _name(self, key: str, corner: str) -> str:
        return f"corner.{corner}.{key}" if corner else key


def every_step(loaded: LoadedScenario, levers: Sequence[Lever] = LEVERS) -> list[LeverStep]:
    """All levers that there are in this machine, at all their places, that change something."""
    names = tuple(c.name for c in loaded.scenario.corner)
    found = []
    for lever in levers:
        if not _is_there(lever, loaded):
            continue
        by_scope: dict[str, list[tuple[str, ...]]] = {
            "corners": [names],
            "corner": [(n,) for n in names],
            "machine": [()],
        }
        places = by_scope[lever.scope]
        found += [LeverStep(lever=lever, option=o, corners=p) for o in lever.options for p in places]
    return [
        step
        for step in found
        if _changes(step, loaded) and not _in_the_plate(step, loaded) and not _in_the_program(step, loaded)
    ]


def _is_there(lever: Lever, loaded: LoadedScenario) -> bool:
    """Whether every corner, or the machine, passes the lever's tests."""
    corners, machine = loaded.scenario.corner, [loaded.scenario]
    return all(
        test(_own(owner, key))
        for key, test in (lever.only or {}).items()
        for owner in (corners if key.split(".")[0] in PARTS else machine)
    )


def _in_the_plate(step: LeverStep, loaded: LoadedScenario) -> bool:
    """Whether it puts mounts into the plate that they carry, whose upper side is at height 0."""
    values = values_of([step], loaded)
    thickness = "bed.thickness_mm"
    heights = [f"corner.{c.name}.mount.height_mm" for c in loaded.scenario.corner]
    under = -values.get(thickness, present(loaded, thickness))
    moved = [h for h in heights if h in values or thickness in values]
    return any(values.get(h, present(loaded, h)) > under for h in moved)


def _in_the_program(step: LeverStep, loaded: LoadedScenario) -> bool:
    """Whether it changes what the part's own program says."""
    said = any(key in SAID_BY_PROGRAM for key in values_of([step], loaded))
    return said and loaded.scenario.print.laid is not None


def _own(owner: Any, key: str) -> Any:
    return reduce(getattr, key.split("."), owner)


def _changes(step: LeverStep, loaded: LoadedScenario) -> bool:
    return step.software or any(not _same(now, then) for now, then in _before_after(step, loaded))


def _before_after(step: LeverStep, loaded: LoadedScenario) -> Iterator[tuple[Any, Any]]:
    for key, value in values_of([step], loaded).items():
        yield present(loaded, key), value


def _same(now: Any, then: Any) -> bool:
    numbers = [isinstance(v, int | float) for v in (now, then)]
    return bool(abs(now - then) <= SAME * abs(now)) if all(numbers) else bool(now == then)


def present(loaded: LoadedScenario, key: str) -> Any:
    """Likely value of a full key."""
    if not key.startswith("corner."):
        if key == "print.first_layer_nut_mm" and loaded.scenario.print.first_layer_nut_mm is None:
            return min(c.screw.length_mm for c in loaded.scenario.corner) - BELOW_TOP_MM
        return _own(loaded.scenario, key)
    corner = _corner_of(loaded, key)
    return _own(corner, key.removeprefix(f"corner.{corner.name}."))


def _corner_of(loaded: LoadedScenario, key: str) -> Corner:
    return next(c for c in loaded.scenario.corner if key.startswith(f"corner.{c.name}."))


# ---- what is set --------------------------------------------------------------------------------------


def values_of(steps: Sequence[LeverStep], loaded: LoadedScenario, draw: Draw | None = None) -> dict[str, Any]:
    """Full keys and values that some steps set, in a machine at its likely values or in a drawn one.

    Factors and levels go by what the drawn machine has; a height that is set is set within `SET_WITHIN_MM`.
    """
    known = {} if draw is None else draw.values(loaded.ranges)
    found: dict[str, Any] = {}
    parts = [(change, corner) for step in steps for change, corner in step.places]
    for change, corner in sorted(parts, key=lambda part: part[0].level_with is not None):
        name = f"corner.{corner}.{change.key}" if corner else change.key
        value = _value(change, name, corner, found, known, loaded)
        found[name] = _set_by_hand(change, name, value, draw)
        found |= _following(change.key, name, corner, found[name], loaded)
    return found


def _value(
    change: Change, name: str, corner: str, found: Values, known: Values, loaded: LoadedScenario
) -> Any:
    if change.to is not None:
        return change.to
    if change.level_with is not None:
        return _now(f"corner.{corner}.{change.level_with}", found, known, loaded)
    if change.at is not None:
        default = usual_of(_corner_of(loaded, name), change.key)
        return present(loaded, name) if default is None else getattr(default, change.at)
    now = _now(name, found, known, loaded)
    if change.at_most is not None:
        return min(now, change.at_most)
    if change.plus is not None:
        return _turned(now + change.plus) if change.key.endswith("_deg") else now + change.plus
    assert change.times is not None
    return now * change.times


def _turned(angle: float) -> float:
    return (angle + 180.0) % 360.0 - 180.0


def _now(name: str, found: Values, known: Values, loaded: LoadedScenario) -> Any:
    """What a key is: set by another step, drawn, or likely."""
    if name in found:
        return found[name]
    if name in known:
        return known[name]
    likely = present(loaded, name)
    if name.startswith("corner."):
        common = name.removeprefix(f"corner.{_corner_of(loaded, name).name}.")
        inherited = [r for r in loaded.ranges if r.key == common and r.likely == likely]
        return known[common] if inherited and common in known else likely
    return likely


def _set_by_hand(change: Change, name: str, value: Any, draw: Draw | None) -> Any:
    if draw is None or not change.key.endswith("height_mm"):
        return value
    return value + quantile(-SET_WITHIN_MM, 0.0, SET_WITHIN_MM, draw.luck(f"set {name}"))


def _layers(name: str, corner: str, value: float, loaded: LoadedScenario) -> dict[str, Any]:
    """As high a print of other layers, all alike in height."""
    job, motion = loaded.scenario.print, loaded.scenario.motion
    layers = {"print.layers": max(1, round(sum(thicknesses_mm(job, motion)) / value))}
    return layers | ({"print.section": []} if job.section else {})


def _hops(name: str, corner: str, value: float, loaded: LoadedScenario) -> dict[str, Any]:
    """In every section."""
    job = loaded.scenario.print
    return {"print.section": without(job, "z_hop_mm", "hop_every")} if job.section else {}


def _settles(name: str, corner: str, value: float, loaded: LoadedScenario) -> dict[str, Any]:
    """Sections that settle for a time of their own by the same factor."""
    job = loaded.scenario.print
    rows = without(job)
    for row in rows:
        if "settle_s" in row:
            row["settle_s"] *= value / job.settle_s
    return {"print.section": rows} if rows and job.settle_s > 0 else {}


def _root(name: str, corner: str, value: float, loaded: LoadedScenario) -> dict[str, Any]:
    """A root that is given goes with the diameter; one that is not follows by itself."""
    keys = ("screw.root_diameter_mm", f"corner.{corner}.screw.root_diameter_mm")
    screw = _corner_of(loaded, name).screw
    scaled = screw.root_diameter_mm * value / screw.diameter_mm
    return {} if any(k in loaded.defaulted for k in keys) else {keys[1]: scaled}


FOLLOWERS: Mapping[str, Callable[[str, str, float, LoadedScenario], dict[str, Any]]] = {
    "print.layer_mm": _layers,
    "motion.z_hop_mm": _hops,
    "print.settle_s": _settles,
    "screw.diameter_mm": _root,
}


def _following(key: str, name: str, corner: str, value: Any, loaded: LoadedScenario) -> dict[str, Any]:
    follow = FOLLOWERS.get(key)
    return follow(name, corner, value, loaded) if follow is not None else {}


def changed(loaded: LoadedScenario, steps: Sequence[LeverStep], draw: Draw | None = None) -> LoadedScenario:
    """The machine with some steps taken, at its likely values or as drawn.

    Steps come first: kinds bring their own defaults and ranges, of which the draw then takes its values; a
    key has the same luck with and without.  Raises InputError for a machine that cannot be.
    """
    first = values_of(steps, loaded, draw)
    found = loaded.with_values(first) if first else loaded
    if draw is None:
        return found
    return found.with_values({**draw.values(found.ranges), **first})
