"""Sound files of every kind, small enough that a visit costs little; mutants are made from them."""

import math
from pathlib import Path

from bedsim.metrology import recipes
from bedsim.scenario.knowledge import FORMAT, KnowledgeFile, LearntKey, machine_words
from bedsim.scenario.load import LoadedScenario

ROOT = Path(__file__).parents[2]
SHIPPED = sorted((ROOT / "scenarios").glob("*.toml"))
PLANS = sorted((ROOT / "scenarios" / "sweeps").glob("*.toml"))

SCENARIO = """title = "small"
[bed]
size_x_mm = 300
size_y_mm = 300
mass_kg = 2.5
[print]
layers = 8
layer_mm = 0.2
first_layer_nut_mm = 350
[screw]
kind = "rolled_ball"
diameter_mm = 16
lead_mm = 5
length_mm = 400
ends = "fixed-supported"
[nut]
mass_kg = 0.2
[guide]
kind = "profile_rail"
[frame]
radial_n_per_um = 1.0
tangential_n_per_um = 1.0
[motor]
holding_torque_n_m = 0.4
[[corner]]
name = "left"
x_mm = -180
y_mm = -100
[[corner]]
name = "right"
x_mm = 180
y_mm = -100
[[corner]]
name = "rear"
x_mm = 0
y_mm = 200
"""
"""A machine whose nuts have no clearance: every engine carries it."""

SECTIONS = """[[print.section]]
layers = 1
layer_mm = 0.3
seconds_per_layer = 90
[[print.section]]
layers = 4
z_hop_mm = 0.4
hop_every = 2
settle_s = 0.5
"""
"""Added to a scenario: its first layer and some later ones are unlike the others."""

PLAN = """title = "small"
scenario = "machine.toml"
members = 4
seed = 5
[target]
lateral_pv_um = 6
[lot]
measured = "lot.csv"
[lot_doubt]
draws = 2
members = 16
[machine_doubt]
machines = 1
[[axis]]
key = "joint.kind"
values = ["rigid", "rolling"]
[prices]
screw = {C5 = 120, C7 = 45}
per_corner = {"joint.kind" = {rigid = 0, rolling = 25}}
"""
LOT = """screw,eccentricity_tir_um,bow_tir_um,slope_um_per_300mm,once_per_turn_pv_um
a,20,60,12,8
b,30,90,-20,9
c,12,40,5,4
"""
RUN_OUT = "\n".join(
    ["# length_mm = 400", "position_mm,angle_deg,reading_um"]
    + [f"{z},{a},{10 + z / 50 + (a % 90) / 9:.1f}" for z in (50, 150, 250, 350) for a in range(0, 360, 45)]
)
JOGGED = "\n".join(
    ["# length_mm = 400", "# lead_mm = 4", "# zero_position_mm = 50", "position_mm,jog_mm,reading_um"]
    + [f"{z},{j / 2},{10 + z / 50 + (j % 5):.1f}" for z in (50, 200, 350) for j in range(12)]
)
EXTREMES = "# length_mm = 400\nposition_mm,min_um,max_um\n20,0,30\n200,5,80\n380,2,41\n"
PUSHED = "\n".join(
    ["# test = stiffness", "# resolution_um = 1", "place,direction,height_mm,force_n,displacement_um"]
    + [
        f"carriage,radial,{h},{f},{f / 2 + (3 if k < 3 else -3)}"
        for h in (100, 200)
        for k, f in enumerate((0, 10, 20, 30, 20, 10, 0, -10, -20, -30, -20, -10, 0))
    ]
)
TAPPED = "# test = decay\n# resolution_um = 1\ncycle,amplitude_um\n" + "\n".join(
    f"{n},{200 * 0.8**n:.0f}" for n in range(8)
)
CORD = "# test = cord\n# radius_mm = 10\n# step_g = 2\ndirection,motor,mass_g\n" + "\n".join(
    f"{way},{motor},{mass}"
    for motor in ("off", "on")
    for way, mass in (("raises", 200), ("lowers", 60))
    for _ in "1234"
)
GAUGES = {
    "run-out": RUN_OUT,
    "jog": JOGGED,
    "extremes": EXTREMES,
    "push": PUSHED,
    "tap": TAPPED,
    "cord": CORD,
    "rolled": recipes.example("rolled"),
    "vibration": "\n".join(recipes.example("vibration").splitlines()[:600]) + "\n",
}
LOG = recipes.example("log").replace("front right", "centre")
PHOTO = "# picture = p.png\n# light = above\nx_px,y_px,height_mm\n60,150,0\n60,10,7\n"
"""Beside a picture of 120 x 160 pixels."""
TUG = (
    "# test = tug\n# corner = left\n# gauge_deg = 0\n# resolution_um = 1\n"
    "nut,gauge,height_mm,angle_deg,reading_um\n"
    + "\n".join(
        f"{nut},{gauge},{h},{a},{size * math.cos(math.radians(a + 70)):.1f}"
        for nut, gauge, size in (("free", "nut", 90), ("bolted", "nut", 60), ("bolted", "carriage", 55))
        for h in (60, 150, 240, 330)
        for a in range(0, 360, 90)
    )
)
EXPLAINED = (
    "TIR",
    "screw.lead_mm",
    "lateral_pv",
    "buckling_load",
    "C7",
    "recipe jog",
    "joint.kind=rolling",
    "print",
)
BANDS = "wall,probe,wavelength_mm,amplitude_um,crest_mm\n+X,centre,5,4.0,1.25\n+Y,centre,5,1.5,3.10\n"
EIGHTHS = "probe,axis,eighth,reading_um\n" + "\n".join(
    f"centre,{axis},{k},{3 * k % 7}.5" for axis in "xy" for k in range(6)
)
SPARES = """[[screw]]
name = "A"
run_out = {bow_tir_um = 30, bow_deg = 40}
[[screw]]
name = "B"
run_out = {table = "offsets.csv"}
travel = {table = "travel.csv"}
"""
OFFSETS = "position_mm,offset_x_um,offset_y_um\n0,0,0\n200,12,-7\n400,0,0\n"
TRAVEL = "position_mm,deviation_um\n0,0\n200,4\n400,-3\n"
_SQUARE = """; layer {k}
N{k} G1 Z{over:.1f} F600
G0 X{x} Y90 F6000
G1 Z{z:.1f}
G1 X120 E1.5 F1200
Y110 E1.5
G3 X100 Y110 R10 E1.1
G2 X100 Y90 I0 J-10 E1.1
M106 S{k}0
G91
G1 X5 E.2
G90
G92 E0
"""
PROGRAM = "%\n(two squares)\nG21 G90\nM83\nG28\nG1 Z5 F600\n" + "".join(
    _SQUARE.format(k=k, over=0.2 * k + 0.4, x=100 + k, z=0.2 * k) for k in range(1, 9)
)
HISTORY = "time_s,acceleration_mm_s2\n" + "\n".join(f"{k / 100:.2f},{(-1) ** k * 500}" for k in range(40))
HISTORY_KEYS = '[disturbance]\nhistory = "history.csv"\nframe_mass_kg = 30\nframe_hz = 12\n'


def knowledge(loaded: LoadedScenario) -> KnowledgeFile:
    """What readings might have taught of a machine: every number a little below what was thought."""
    open_ = loaded.ranges
    below = tuple(key.likely - 0.1 * (key.likely - key.low) for key in open_)
    return KnowledgeFile(
        format=FORMAT,
        title=loaded.scenario.title,
        machine=machine_words(loaded.scenario),
        readings={"b.csv": "76782d501f572210"},
        keys=tuple(LearntKey(key=k.key, low=k.low, likely=k.likely, high=k.high) for k in open_),
        likely=below,
        machines=(below, below),
        columns=tuple(key.key for key in open_),
        left=(0.5,),
        directions=((1.0, *(0.0 for _ in open_[1:])),),
    )
