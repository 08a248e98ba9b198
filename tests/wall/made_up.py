"""A made-up run, written down directly: not computed by any engine."""

import numpy as np

from bedsim.results.layers import LayerResult

CORNERS = ("left", "right", "back")


def made_up_layers(
    n: int = 400,
    h: float = 0.2e-3,
    lead: float = 5e-3,
    amplitude: float = 8e-6,
    noise: float = 0.3e-6,
    seed: int = 3,
) -> LayerResult:
    """Layers whose lateral error turns with the lead: amplitude (m) in X, half of it in Y, a third in
    height."""
    rng = np.random.default_rng(seed)
    top = h * np.arange(1, n + 1)
    angle = 2 * np.pi * (top - h / 2) / lead
    lateral = np.zeros((n, 2, 2))
    lateral[:, :, 0] = amplitude * np.cos(angle)[:, None]
    lateral[:, :, 1] = 0.5 * amplitude * np.sin(angle)[:, None]
    lateral[:, 1] *= 1.2
    height = amplitude / 3 * np.cos(angle + 0.5)[:, None] * np.array([1.0, 1.5])
    lateral += rng.normal(0, noise, lateral.shape)
    height = height + rng.normal(0, noise / 3, height.shape)
    corner = np.array([[-150e-3, -100e-3], [150e-3, -100e-3], [0, 150e-3]])
    zeros = np.zeros((n, 3))
    return LayerResult(
        layer=np.arange(1, n + 1),
        print_height=top,
        commanded_height=-(top - h),
        nut_position=np.repeat((0.3 - top)[:, None], 3, axis=1),
        probe_name=("centre", "right"),
        probe_position=np.array([[0.0, 0.0], [100e-3, 0.0]]),
        corner_name=CORNERS,
        corner_position=corner,
        height_error=height - height[0],
        lateral_error=lateral - lateral[0],
        height_raw=height,
        lateral_raw=lateral,
        pose_raw=np.zeros((n, 6)),
        tilt=zeros,
        thickness_error=-np.diff(height, axis=0, prepend=height[:1]),
        residual_height=np.full((n, 2), 0.05e-6),
        residual_lateral=np.full((n, 2), 0.1e-6),
        settle_time=np.full(n, 0.2),
        joint_excursion=np.full((n, 3), 20e-6),
        side_force=np.full((n, 3), 4.0),
        load_angle=np.full((n, 3), np.deg2rad(12)),
        mount_force=np.full((n, 3), 8.0),
        axial_force=np.full((n, 3), 15.0),
        stop_hit=np.zeros((n, 3), dtype=bool),
        tail_bound=np.full(n, 1e-9),
    )
