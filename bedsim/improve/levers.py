"""What a builder can change: every lever, in the order in which they are told."""

from __future__ import annotations

from bedsim.improve.lever import Lever
from bedsim.improve.levers_drive import DRIVE
from bedsim.improve.levers_layout import LAYOUT
from bedsim.improve.levers_setting import SETTING
from bedsim.improve.levers_software import SOFTWARE
from bedsim.improve.levers_stiffness import STIFFNESS

LEVERS: tuple[Lever, ...] = (*LAYOUT, *STIFFNESS, *DRIVE, *SETTING, *SOFTWARE)
