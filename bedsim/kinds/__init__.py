"""The kinds of parts that bedsim brings, one file each, in the order in which they are told."""

from __future__ import annotations

from bedsim import registry
from bedsim.kinds import (
    coupling_disc,
    coupling_helical,
    coupling_jaw,
    coupling_not_known,
    coupling_rigid,
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
    screw_ground_ball,
    screw_plain,
    screw_rolled_ball,
)

KINDS: tuple[registry.Kind, ...] = (
    joint_rigid.KIND,
    joint_rolling.KIND,
    joint_sliding.KIND,
    joint_flexure.KIND,
    joint_air_film.KIND,
    mount_groove.KIND,
    mount_bolted.KIND,
    mount_flexure.KIND,
    guide_profile_rail.KIND,
    guide_round_rod.KIND,
    guide_wheels.KIND,
    screw_ground_ball.KIND,
    screw_rolled_ball.KIND,
    screw_plain.KIND,
    coupling_rigid.KIND,
    coupling_jaw.KIND,
    coupling_helical.KIND,
    coupling_disc.KIND,
    coupling_not_known.KIND,
)
for _kind in KINDS:
    registry.add(_kind)
