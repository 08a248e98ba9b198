"""The kinds of parts that bedsim brings, one file each, in the order in which they are told."""

from __future__ import annotations

from bedsim import registry
from bedsim.kinds import (
    guide_profile_rail,
    guide_round_rod,
    guide_wheels,
    joint_air_film,
    joint_flexure,
    joint_rigid,
    joint_rolling,
    joint_sliding,
)

for _file in (joint_rigid, joint_rolling, joint_sliding, joint_flexure, joint_air_film):
    registry.add(_file.KIND)
for _guide in (guide_profile_rail, guide_round_rod, guide_wheels):
    registry.add(_guide.KIND)
