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
    mount_bolted,
    mount_flexure,
    mount_groove,
)

for _file in (joint_rigid, joint_rolling, joint_sliding, joint_flexure, joint_air_film):
    registry.add(_file.KIND)
for _mount in (mount_groove, mount_bolted, mount_flexure):
    registry.add(_mount.KIND)
for _guide in (guide_profile_rail, guide_round_rod, guide_wheels):
    registry.add(_guide.KIND)
