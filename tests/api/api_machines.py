"""A small machine and plans over it, whatever the test is called from."""

MACHINE = {
    "title": "Three screws",
    "bed": {"size_x_mm": 300, "size_y_mm": 300, "mass_kg": 3.0},
    "print": {"layers": 6, "layer_mm": 0.25},
    "screw": {
        "kind": "rolled_ball",
        "diameter_mm": 16,
        "lead_mm": 5,
        "length_mm": 400,
        "ends": "fixed-supported",
        "run_out": {"bow_tir_um": {"low": 50, "likely": 100, "high": 200, "basis": "estimated"}},
    },
    "guide": {"kind": "profile_rail"},
    "frame": {"radial_n_per_um": 1.0, "tangential_n_per_um": 1.0},
    "motor": {"holding_torque_n_m": 0.4},
    "corner": [
        {"name": "left", "x_mm": -180, "y_mm": -100},
        {"name": "right", "x_mm": 180, "y_mm": -100, "screw": {"run_out": {"bow_deg": 90.0}}},
        {"name": "rear", "x_mm": 0, "y_mm": 200},
    ],
}

PLAN = """title = "Grades and joints"
scenario = "machine.toml"
engine = "equilibrium"
members = 3
seed = 5
[target]
lateral_pv_um = 6
[lot]
once_per_turn_rms_um = {low = 4, likely = 8, high = 16, basis = "assumed"}
thread_run_out_um = 150
basis = "assumed"
[lot_doubt]
draws = 2
members = 16
[machine_doubt]
machines = 2
[[axis]]
key = "grade"
values = ["C5", "C7"]
[[axis]]
key = "joint.kind"
values = ["rigid", "rolling"]
"""
