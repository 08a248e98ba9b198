"""Made-up scenarios and runs for tests of files, figures and pictures: no physics, only shapes."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace
from typing import Any

import numpy as np

from bedsim.results.answer import RunAnswer
from bedsim.results.layers import SPREAD_MOMENTS, LayerResult, Open, Run, Trace
from bedsim.scenario.schema import Scenario

LEAD = 5e-3
LAYER = 0.2e-3

_THREE = (("front left", -140.0, -120.0), ("front right", 140.0, -120.0), ("back", 0.0, 150.0))
_FOUR = (
    ("front left", -140.0, -130.0),
    ("front right", 140.0, -130.0),
    ("back right", 140.0, 130.0),
    ("back left", -140.0, 130.0),
)
_PROBES = (
    ("centre", 0.0, 0.0),
    ("front left", -130.0, -130.0),
    ("front right", 130.0, -130.0),
    ("back right", 130.0, 130.0),
    ("back left", -130.0, 130.0),
)


def corner_dict(name: str, x: float, y: float, **screw: Any) -> dict[str, Any]:
    """One complete corner as the scenario schema wants it; keywords change the screw."""
    held = {"radial_n_per_um": 20.0, "tangential_n_per_um": 10.0}
    stiff_screw = {
        "kind": "rolled_ball",
        "diameter_mm": 16.0,
        "root_diameter_mm": 12.9,
        "lead_mm": 5.0,
        "length_mm": 400.0,
        "bearing_radial_n_per_um": 50.0,
        "upper_bearing_radial_n_per_um": 50.0,
        "bearing_tilt_nm_per_rad": 2000.0,
        "bearing_axial_n_per_um": 60.0,
        "coupling_nm_per_rad": 100.0,
        "run_out": {"eccentricity_tir_um": 40.0, "eccentricity_deg": 60.0},
    }
    joint = {
        "kind": "rolling",
        "lateral_n_per_mm": 20.0,
        "elements": 3,
        "element_radius_mm": 20.0,
        "rotation_nm_per_rad": 100.0,
        "friction_coefficient": 0.001,
        "magnet_force_n": 10.0,
        "breakaway_um": 5.0,
        "damping_n_s_per_m": 2.0,
        "travel_mm": 1.0,
        "axial_n_per_um": 50.0,
    }
    nut = {"radial_n_per_um": 50.0, "axial_n_per_um": 50.0, "tilt_nm_per_rad": 2000.0}
    mount = {"radial_n_per_um": 0.1, "tangential_n_per_um": 20.0, "vertical_n_per_um": 20.0}
    guide = {**held, "kind": "profile_rail", "tilt_nm_per_rad": 8000.0, "yaw_nm_per_rad": 8000.0}
    motor = {"holding_torque_n_m": 0.4, "detent_torque_n_m": 0.02, "rotor_inertia_g_cm2": 54.0}
    motor |= {"bearing_radial_n_per_um": 8.0, "bearing_axial_n_per_um": 5.0, "bearing_span_mm": 32.0}
    motor |= {"shaft_diameter_mm": 5.0, "shaft_overhang_mm": 20.0, "axial_force_limit_n": 10.0}
    coupling = {"radial_n_per_um": 0.4, "tilt_nm_per_rad": 5.0, "axial_n_per_um": 1.0}
    motor |= {f"place_error_{order}_deg": 0.0 for order in (1, 2, 3, 4)}
    return {
        "name": name,
        "x_mm": x,
        "y_mm": y,
        "screw": {**stiff_screw, **screw},
        "coupling": {**coupling, "eccentricity_tir_um": 0.0, "angle_tir_um_per_100mm": 0.0},
        "nut": {**nut, "drag_torque_n_mm": 10.0, "friction_coefficient": 0.005},
        "joint": joint,
        "mount": {**mount, "rotation_nm_per_rad": 0.0, "friction_coefficient": 0.1},
        "guide": {**guide, "friction_n": 2.0, "breakaway_um": 10.0},
        "frame": {**held, "vertical_n_per_um": 20.0, "rotation_nm_per_rad": 5000.0},
        "carriage": {},
        "motor": motor,
    }


def scenario(corners: int = 3, layers: int = 60, names: tuple[str, ...] = (), **screw: Any) -> Scenario:
    """A machine with three or four corners, all alike."""
    places = _THREE if corners == 3 else _FOUR
    titles = names or tuple(p[0] for p in places)
    return Scenario.model_validate(
        {
            "title": "A made-up machine",
            "bed": {"size_x_mm": 320.0, "size_y_mm": 320.0, "mass_kg": 3.5},
            "print": {"layers": layers, "layer_mm": LAYER * 1e3},
            "corner": [corner_dict(t, x, y, **screw) for t, (_, x, y) in zip(titles, places, strict=True)],
            "probe": [{"name": n, "x_mm": x, "y_mm": y} for n, x, y in _PROBES],
        }
    )


def loaded(machine: Scenario, bases: tuple[str, ...] = ()) -> Any:
    """What the loader hands out, as far as it is looked at here; one uncertain number per basis."""
    return SimpleNamespace(
        name="made-up", scenario=machine, tables={}, ranges=tuple(SimpleNamespace(basis=b) for b in bases)
    )


def layer_result(machine: Scenario, amplitude: float = 20e-6, traces: tuple[int, ...] = (2,)) -> LayerResult:
    """Bands at the lead's wavelength, of the given amplitude (m) sideways and half of it in height."""
    n, c, p = machine.print.layers, len(machine.corner), len(machine.probe)
    h = machine.print.layer_mm * 1e-3
    z = h * np.arange(1, n + 1)
    probes = np.array([[q.x_mm, q.y_mm] for q in machine.probe]) * 1e-3
    corners = np.array([[q.x_mm, q.y_mm] for q in machine.corner]) * 1e-3
    phase = 2 * np.pi * z[:, None] / LEAD + np.arange(p) * 0.4
    lateral_raw = amplitude * np.stack([np.cos(phase), 0.6 * np.sin(phase + 0.3)], axis=2)
    height_raw = 0.5 * amplitude * np.sin(phase) + z[:, None] * 1e-4 * amplitude / 20e-6
    height_error = height_raw - height_raw[0]
    pose = np.zeros((n, 6 + max(0, c - 3)))
    pose[:, :2], pose[:, 2] = lateral_raw[:, 0], height_raw[:, 0]
    pose[:, 3] = 0.1 * amplitude * np.sin(phase[:, 0])
    rise = np.linspace(0.5, 1.0, c) * np.ones((n, 1))
    start = machine.corner[0].screw.length_mm * 1e-3 - 0.06
    return LayerResult(
        layer=np.arange(1, n + 1),
        print_height=z,
        commanded_height=-h * np.arange(n),
        nut_position=(start - h * np.arange(n))[:, None] * np.ones((1, c)),
        probe_name=tuple(q.name for q in machine.probe),
        probe_position=probes,
        corner_name=tuple(q.name for q in machine.corner),
        corner_position=corners,
        height_error=height_error,
        lateral_error=lateral_raw - lateral_raw[0],
        height_raw=height_raw,
        lateral_raw=lateral_raw,
        pose_raw=pose,
        tilt=pose[:, 3:6] - pose[0, 3:6],
        thickness_error=np.diff(height_error, axis=0, prepend=height_error[:1]) * -1.0,
        residual_height=np.full((n, p), 0.2e-6),
        residual_lateral=np.full((n, p), 0.3e-6),
        settle_time=np.full(n, 0.21),
        joint_excursion=15e-6 * rise,
        side_force=12.0 * rise,
        load_angle=0.12 * rise,
        mount_force=9.0 * rise,
        axial_force=11.0 * rise,
        stop_hit=np.zeros((n, c), dtype=bool),
        tail_bound=np.full(n, 1e-9),
        trace=tuple(trace(machine, layer, amplitude, pose.shape[1]) for layer in traces),
    )


def trace(machine: Scenario, layer: int, amplitude: float, bed_count: int) -> Trace:
    """A layer change of 0.1 s that rings for half a second."""
    c, p, h = len(machine.corner), len(machine.probe), machine.print.layer_mm * 1e-3
    t = np.linspace(0.0, 0.6, 601)
    ring = 0.2 * amplitude * np.exp(-t / 0.08) * np.sin(2 * np.pi * 40 * t)
    spread = np.linspace(0.7, 1.0, p)
    move = np.clip(t / 0.1, 0, 1)
    pose = np.zeros((t.size, bed_count))
    pose[:, 2] = ring
    return Trace(
        layer=layer,
        time=t,
        pose=pose,
        height=ring[:, None] * spread,
        lateral=np.stack([ring[:, None] * spread, 0.5 * np.roll(ring, 4)[:, None] * spread], axis=2),
        joint=np.repeat((0.3 * ring)[:, None, None], c, axis=1) * np.array([1.0, 0.5]),
        load_angle=0.05 * np.exp(-t / 0.1)[:, None] * np.linspace(0.5, 1.0, c),
        commanded_height=-h * (layer - 2) - h * move**2 * (3 - 2 * move),
    )


def run(machine: Scenario, **options: Any) -> Run:
    """A finished run of the made-up machine."""
    return Run(
        layers=layer_result(machine, **options),
        scenario_source='title = "µ"\n',
        scenario_resolved='title = "µ"\n[bed]\n',
        engine="equilibrium",
        solver_message="all layers solved",
        seed=7,
        created="2025-01-02T03:04:05+00:00",
        program_version="0.1.0",
        statistics={"wall_seconds": 0.1 + 0.2, "steps": 12.0},
        notes=("first note", "zweite Notiz: ü"),
        answer=answer(),
    )


def answer() -> RunAnswer:
    """What the run says, made up."""
    return RunAnswer(
        verdict="The bed strays 1 µm.",
        figure=("lateral_pv", "side_force"),
        figure_unit=("m", "N"),
        figure_text=("lateral error", "side force"),
        figure_where=("centre", "left"),
        figure_value=np.array([1e-6, 2.0]),
        figure_low=np.array([0.5e-6, np.nan]),
        figure_high=np.array([3e-6, np.nan]),
        source=("run-out, left",),
        source_cause=("run-out",),
        source_corner=("left",),
        source_height=np.array([1e-9]),
        source_lateral=np.array([1e-6]),
        key=("guide.radial_n_per_um",),
        key_basis=("estimated",),
        key_swing=np.array([2e-7]),
    )


def opened(run: Run) -> Run:
    """The run with made-up ranges."""
    layers = run.layers
    kept = Open(
        layer=layers.layer,
        spread=np.full((*layers.height_error.shape, len(SPREAD_MOMENTS)), 1e-12),
        method="Ranges: made up.",
    )
    return dataclasses.replace(run, open=kept)
