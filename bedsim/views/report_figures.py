"""What a report is made from: runs with all that is worked out of them, and what the reader asked for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from bedsim.improve.single_changes import Gain
from bedsim.ranges.motion import BedMotion
from bedsim.results.layers import Array, Run
from bedsim.scenario.load import LoadedScenario
from bedsim.wall.bands import Share, Source
from bedsim.wall.relief import Wall
from bedsim.wall.visibility import Viewing
from bedsim.wall.waviness import Waviness
from bedsim.wall.worst import WORST, JudgedWall

SourceErrors = Mapping[Source, tuple[Array, Array]]
"""(cause, corner) -> lateral (n, p, 2) and height (n, p) errors of that imperfection alone, m."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Levers:
    """What single changes gain, best first; `refused`: why they could not be tried, "" where they were."""

    gains: tuple[Gain, ...] = ()
    refused: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reported:
    """One run with its scenario, as the report names it; `run` and `sources` have the layers of the object
    that is `shown`, in words where there are several, `whole` and `whole_sources` all; sources only where a
    linear machine gave them, `split` likewise: where the lateral error comes from, in lines; `travel`: the
    bands over the machine's whole travel, in a sentence; `levers` None: not asked for."""

    label: str
    path: str
    run: Run
    whole: Run
    loaded: LoadedScenario
    motion: BedMotion
    sources: SourceErrors = field(default_factory=dict)
    whole_sources: SourceErrors = field(default_factory=dict)
    shown: str = ""
    split: tuple[str, ...] = ()
    travel: str = ""
    levers: Levers | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """What the reader asked for; `probe` None: the place of the bed at which a wall shows most."""

    viewing: Viewing
    walls: tuple[str, ...] = (WORST,)
    probe: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A run's wall with everything worked out from it."""

    reported: Reported
    judged: JudgedWall
    wave: Waviness
    shares: tuple[Share, ...]

    @property
    def wall(self) -> Wall:
        """The wall itself."""
        return self.judged.wall
