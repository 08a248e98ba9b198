"""Every key of a scenario: unit (in the name), range, default, meaning.

The classes hold plain numbers in workshop units, exactly as named by the key; nothing is converted here and
no physics is known here.  What is not known exactly is given in the file as `{low, likely, high, basis}`: the
loader keeps the range beside the scenario and puts the likely value in (see `bedsim.scenario.load`).
Defaults that depend on the kind of a part (a profile rail against wheels) stand with the kind, with source.
The keys of a machine's parts stand in `machine_keys`, `screw_keys` and `carriage_keys`; whoever needs one
asks here.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, SerializeAsAny

from bedsim.scenario.carriage_keys import Carriage, Frame, GuideKeys, JointElement, JointKeys, MountKeys
from bedsim.scenario.event_keys import Disturbance, PowerLoss, Tilt
from bedsim.scenario.kinds_of_parts import KeysOfKind
from bedsim.scenario.machine_keys import (
    BedKeys,
    Damping,
    Drive,
    Learnt,
    MotionKeys,
    Output,
    Print,
    Probe,
    TargetKeys,
)
from bedsim.scenario.screw_keys import (
    Alignment,
    Coupling,
    MotorKeys,
    NutKeys,
    RunOutKeys,
    ScrewKeys,
    TravelKeys,
)
from bedsim.scenario.section import Name, Section
from bedsim.scenario.sizing_keys import Prices, Sizing
from bedsim.scenario.upkeep_keys import Upkeep

__all__ = [
    "Alignment",
    "BedKeys",
    "Carriage",
    "Corner",
    "Coupling",
    "Damping",
    "Drive",
    "Frame",
    "GuideKeys",
    "JointElement",
    "JointKeys",
    "Learnt",
    "MotionKeys",
    "MotorKeys",
    "MountKeys",
    "NutKeys",
    "Output",
    "Print",
    "Probe",
    "RunOutKeys",
    "Scenario",
    "ScrewKeys",
    "TargetKeys",
    "TravelKeys",
]


class Corner(Section):
    """One screw's corner of the machine with all its parts."""

    name: Name
    """Name used in results and workshop advice."""
    x_mm: float
    """X of the screw axis."""
    y_mm: float
    """Y of the screw axis."""
    screw: ScrewKeys
    """The screw."""
    nut: NutKeys
    """The nut."""
    joint: Annotated[JointKeys, KeysOfKind("joint"), SerializeAsAny()]
    """Nut to carriage."""
    mount: Annotated[MountKeys, KeysOfKind("mount"), SerializeAsAny()]
    """Carriage to bed."""
    guide: GuideKeys
    """The guide."""
    frame: Frame
    """The frame behind it."""
    carriage: Carriage
    """The carriage."""
    motor: MotorKeys
    """The motor; with a belt the first corner's motor drives all."""
    coupling: Coupling
    """Motor to screw."""


class Scenario(Section):
    """A machine and a print, complete: every default filled in, every corner with all its parts."""

    title: Annotated[str, Field(min_length=1, max_length=200)]
    """What this scenario shows."""
    bed: BedKeys
    """The bed."""
    print: Print
    """The print."""
    motion: MotionKeys = MotionKeys()
    """The layer change."""
    damping: Damping = Damping()
    """Damping."""
    drive: Drive = Drive()
    """The drive."""
    corner: Annotated[tuple[Corner, ...], Field(min_length=3, max_length=64)]
    """The corners, at least three."""
    probe: tuple[Probe, ...] = ()
    """Points of interest; default: the centre and the four corners of the bed."""
    target: TargetKeys = TargetKeys()
    """What the print must meet."""
    output: Output = Output()
    """What is kept."""
    sizing: Sizing | None = None
    """What `bedsim size` needs beside the machine; `run` reads `joint_part` and `joint_warming_k` of it."""
    learnt: Learnt | None = None
    """What readings have taught of the machine."""
    prices: Prices | None = None
    """What parts cost, for decisions between them."""
    power_loss: PowerLoss | None = None
    """What `bedsim size --power-loss` needs."""
    tilt: Tilt | None = None
    """A plane for `bedsim size --tilt`."""
    disturbance: Disturbance | None = None
    """What shakes the frame, for `bedsim size --shake`."""
    upkeep: Upkeep | None = None
    """How the machine is used and looked after, for `bedsim size --upkeep`."""
