"""A kind of joint from outside the package: one file of its user, and every command knows it."""

import math
import pickle
from dataclasses import replace

import numpy as np
import pytest

import bedsim
from bedsim import registry
from bedsim.analysis.sizing_report import size_scenario
from bedsim.cli.main import main
from bedsim.errors import InputError
from bedsim.identity import identity
from bedsim.model.build import build_machine
from bedsim.model.joint_parts import joint_loads
from bedsim.results.store import read_run
from bedsim.scenario import idle, keys
from bedsim.scenario.json_schema import file_schema
from bedsim.scenario.load import load_scenario, scenario_from_text
from bedsim.scenario.reference import reference_text
from bedsim.simulation import simulate
from bedsim.sweep.tasks import run_task_of
from bedsim.units import MM

PENDULUM = '''
"""A carriage that hangs from its nut on wires: it comes back by its own weight and does not rub."""

import math
from dataclasses import replace

import numpy as np

import bedsim
from bedsim.components.joint import Joint, JointPlace, JointRows, plate_rows, ring
from bedsim.model.joint_kind import PART_KEYS, held_against_turning
from bedsim.scenario.section import Positive
from bedsim.sizing import unit
from bedsim.sizing.rows import Row, RowValue
from bedsim.units import MM, N_PER_UM, UM


class PendulumKeys(bedsim.JointKeys):
    wire_length_mm: Positive
    """Free length of the wires."""


def make(corner, sizing, load):
    """A wire of length L under its share F/n follows its own inclination: the nut that is moved by j pulls
    with (F/n)/L j at every wire, F/L in all, and with F r^2/L against turning, wires on a circle of radius r.
    Source: derived from the height that the load gains, j^2/(2 L). F: the heaviest load of the print."""
    part = corner.joint
    places = ring(part.elements, part.element_radius_mm * MM)
    pull = load / part.elements / (part.wire_length_mm * MM)
    return Joint(
        height=part.height_mm * MM,
        elements=places,
        element_stiffness=pull * np.tile(np.eye(2), (part.elements, 1, 1)),
        contacts=places,
        load_share=np.full(part.elements, 1 / part.elements),
        ends=places,
        rotation=part.rotation_nm_per_rad,
        friction=0.0,
        magnet_force=0.0,
        nut_weight=0.0,
        breakaway=50 * UM,
        damping=part.damping_n_s_per_m,
        travel=part.travel_mm * MM,
        stop=part.stop_n_per_um * N_PER_UM,
        axial=part.axial_n_per_um * N_PER_UM,
    )


def rows(place: JointPlace, joint: Joint) -> JointRows:
    """The wires hold the carriage at points of its own: a load that hangs aside does not tilt it."""
    return replace(plate_rows(place, joint), load=None)


def swing(at):
    """Of its own, f = sqrt(k g/F)/(2 pi): the load makes its stiffness and is its mass."""
    carried = at.corner.carriage_mass + max(at.corner.bed_load) / 9.80665
    return RowValue(math.sqrt(at.corner.joint.lateral / carried) / math.tau)


IDLE = ("lateral_n_per_mm", "element", "friction_coefficient", "magnet_force_n", "breakaway_um")
bedsim.register_kind(
    bedsim.JointKind(
        name="pendulum",
        sentence="a carriage that hangs on wires from its nut",
        keys=PendulumKeys,
        make=make,
        rows=rows,
        refused=held_against_turning,
        size=(
            Row(
                key="swing",
                name="swings by itself at",
                unit=unit.HERTZ,
                tell=swing,
                formula="sqrt(g/L)/(2 pi)",
                source="pendulum",
            ),
        ),
        defaults={
            "wire_length_mm": bedsim.Default(20.0, 40.0, 80.0),
            "elements": bedsim.Default(3, 3, 3),
            "element_radius_mm": bedsim.Default(15.0, 20.0, 30.0),
            "rotation_nm_per_rad": bedsim.Default(100.0, 500.0, 2000.0),
            "damping_n_s_per_m": bedsim.Default(0.0, 0.0, 0.0),
            "travel_mm": bedsim.Default(0.5, 1.0, 2.0),
            "axial_n_per_um": bedsim.Default(2.0, 5.0, 10.0),
        },
        idle={"wires pull by their load alone": (*(f"joint.{key}" for key in IDLE), *PART_KEYS)},
    )
)
'''
MACHINE = """
title = "Hung"
bed = {size_x_mm = 300, size_y_mm = 300, mass_kg = 3.0}
print = {layers = 6, layer_mm = 0.25, part_mass_kg = 0.2}
screw.kind = "rolled_ball"
screw.diameter_mm = 16
screw.lead_mm = 5
screw.length_mm = 400
screw.run_out.eccentricity_tir_um = 80
joint = {kind = "pendulum", wire_length_mm = 50}
guide = {kind = "profile_rail"}
corner = [
  {name = "left", x_mm = -180, y_mm = -100},
  {name = "right", x_mm = 180, y_mm = -100},
  {name = "rear", x_mm = 0, y_mm = 200},
]
"""
PLAN = """
title = "Hung or bolted"
scenario = "machine.toml"
members = 3
seed = 5
lot = {grade = "C7", once_per_turn_rms_um = 8, thread_run_out_um = 150}
machine_doubt = {machines = 1}
[[axis]]
key = "joint.kind"
values = ["rigid", "pendulum"]
"""


BROUGHT = tuple(kind for part in registry.parts() for kind in registry.kinds(part))


def forget() -> None:
    """Take back what tests have registered, as if this were a process of its own."""
    for file in registry.outside_files():
        registry.forget_file(file.module)
    for kind in (kind for part in registry.parts() for kind in registry.kinds(part)):
        if kind not in BROUGHT:
            registry.remove(kind)
    keys.forget_kinds()
    idle.forget_kinds()


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "pendulum.py").write_text(PENDULUM, "utf-8")
    (tmp_path / "machine.toml").write_text(MACHINE, "utf-8")
    (tmp_path / "plan.toml").write_text(PLAN, "utf-8")
    yield tmp_path
    forget()


@pytest.fixture
def hung(folder):
    bedsim.load_kinds("pendulum.py")
    return load_scenario("machine.toml")


def gained(moved: np.ndarray, turned: float, length: float, radius: float) -> float:
    """How far a load on three wires of one length that do not stretch is lifted by a motion of their tops, m;
    exact: every wire is as high as is left of its length."""
    at = 2 * np.pi * np.arange(3) / 3
    feet = radius * np.stack([np.cos(at), np.sin(at)])
    c, s = math.cos(turned), math.sin(turned)
    aside = np.linalg.norm(moved[:, None] + np.array([[c, -s], [s, c]]) @ feet - feet, axis=0)
    return float(np.mean(length - np.sqrt(length**2 - aside**2)))


def second(values, step):
    return (values[2] - 2 * values[1] + values[0]) / step**2


def test_its_stiffness_is_that_of_a_load_on_wires(hung):
    """Independent: second differences of the height that three wires leave to the load; the machine's own
    loads by statics of three supports: each corner carries what its place gives it."""
    loads = joint_loads(hung.scenario)
    machine = build_machine(hung.scenario, hung.tables)
    step = 1e-4
    for corner, load in zip(hung.scenario.corner, loads, strict=True):
        link = next(link for link in machine.links if link.name == f"{corner.name}.joint")
        sizes = {"length": 50 * MM, "radius": 20 * MM}
        lift = [gained(np.array([x, 0.0]), 0.0, **sizes) for x in (-step, 0.0, step)]
        turn = [gained(np.zeros(2), x, **sizes) for x in (-1e-3, 0.0, 1e-3)]
        side, about = load * second(lift, step), load * second(turn, 1e-3)
        np.testing.assert_allclose(np.diag(link.stiffness), [side, side, about + 500.0], rtol=1e-5)
    assert not [f for f in machine.frictions if ".joint" in f.name]
    assert not [link for link in machine.links if link.name.endswith(".load")]


def bent(machine):
    """What screws that stand off their axes alone add to the lateral error, m."""
    straight = machine.with_values({"screw.run_out.eccentricity_tir_um": 0.0})
    runs = [simulate(m, engine="equilibrium").layers.lateral_error for m in (machine, straight)]
    return np.ptp(runs[0] - runs[1])


def test_run_and_size_have_it(hung):
    """By hand: F/L at the heaviest corner, 3 kg and 0.4 kg of carriage, a part of 0.2 kg in the middle.  The
    rear carries 1/3 (mounts at y -100, -100, 200: the middle is their centroid)."""
    load = 9.80665 * ((3.0 + 0.2) / 3 + 0.4)
    rows = {row.name: row for row in size_scenario(hung).checks if row.corner}
    assert rows["recentring stiffness"].value == pytest.approx(load / 0.05 * 1e-3, rel=1e-3)
    assert rows["swings by itself at"].value == pytest.approx(math.sqrt(9.80665 / 0.05) / math.tau, rel=1e-3)
    assert rows["dead zone: does not come back from within"].value == 0.0
    bolted = load_scenario("machine.toml", ["joint.kind=rigid"])
    assert bolted.resting == {"joint.wire_length_mm": ' beside joint.kind = "rigid"'}
    passed, stuck = (bent(machine) for machine in (hung, bolted))
    assert 0 < passed < 0.02 * stuck


def test_its_keys_are_keys_like_all_others(hung):
    found = {r.key: r for r in load_scenario("machine.toml", ["joint.wire_length_mm=40"]).ranges}
    assert found["joint.element_radius_mm"].source == "assumed"
    again = scenario_from_text(hung.resolved_toml(), name="again", tables=hung.tables)
    assert again.scenario == hung.scenario
    assert file_schema()["$defs"]["JointKeys"]["properties"]["wire_length_mm"]["description"]
    told = reference_text(registry.outside_files()[0].path.parent)
    assert (
        "| `wire_length_mm` | mm | > 0 | 40 (20 to 80) | pendulum alone: Free length of the wires. |" in told
    )
    assert "pendulum: a carriage that hangs on wires from its nut." in told


@pytest.mark.parametrize(
    ("override", "told"),
    [
        ("joint.wire_length_mm=-4", "must be > 0"),
        ("joint.wire_lenght_mm=4", "Did you mean wire_length_mm?"),
        ("joint.kind=pendulm", 'Did you mean "pendulum"?'),
    ],
)
def test_what_is_wrong_with_them_is_told_as_of_all_others(hung, override, told):
    with pytest.raises(InputError) as fault:
        load_scenario("machine.toml", [override])
    assert told in str(fault.value)


def test_a_key_of_another_kind_is_refused(hung):
    text = MACHINE.replace('"pendulum"', '"rolling"')
    with pytest.raises(InputError, match="only pendulum has it"):
        scenario_from_text(text, name="rolling", tables={})


def test_commands_are_told_its_file(folder, capsys):
    quick = ("--no-pictures", "--no-ranges")
    assert main(["run", "machine.toml", *quick]) == 2
    assert 'joint.kind = "pendulum": must be one of rigid' in capsys.readouterr().err
    assert main(["run", "machine.toml", "--kinds", "pendulum.py", *quick]) == 0
    program = read_run("results/machine.h5").program
    assert program == str(identity())
    assert "kinds pendulum.py " in program
    assert main(["size", "machine.toml", "--kinds", "pendulum.py", "--no-pictures"]) == 0
    made = ["new", "made.toml", "--defaults", "--joint", "pendulum", "--kinds", "pendulum.py"]
    assert main(made) == 0
    assert "flexure, air_film or pendulum" in (folder / "made.toml").read_text("utf-8")


def test_a_sweep_has_it_in_every_worker(folder, capsys):
    assert main(["sweep", "plan.toml", "--kinds", "pendulum.py", "--workers", "2", "--no-pictures"]) == 0
    assert "pendulum" in capsys.readouterr().out


def test_another_program_refuses_by_name_before_it_opens_a_task(hung):
    """Also where only the text of the file is another; remarks do not count."""
    sealed = pickle.dumps("never opened")
    lacking = replace(identity(), kinds="pendulum.py 0123456789abcdef")
    with pytest.raises(
        InputError, match=r"is another program: kinds pendulum.py 0123456789abcdef here, pend"
    ):
        run_task_of(lacking, sealed)
    before = identity()
    forget()
    assert before.differences(identity()) == (f"kinds {before.kinds} here, none there",)
    for text, same in (
        (PENDULUM + "# a remark\n", True),
        (PENDULUM.replace("/ part.elements /", "/ 4 /"), False),
    ):
        forget()
        hung.path.with_name("pendulum.py").write_text(text, "utf-8")
        bedsim.load_kinds("pendulum.py")
        assert (identity() == before) is same


LAST = "bedsim.register_kind("
BAD = {
    "not there": (None, "no.py: cannot be read: No such file or directory."),
    "raises": ("1 / 0\n", "bad.py: cannot be used: ZeroDivisionError: division by zero."),
    "ends": ("raise SystemExit(0)\n", "bad.py: cannot be used: SystemExit: 0."),
    "does not parse": ("def f(:\n", "bad.py: cannot be used: SyntaxError:"),
    "says nothing": ("x = 1\n", "bad.py: registers no kind. End it with bedsim.register_kind(...)."),
    "no kind": (
        "import bedsim\nbedsim.register_kind(3)\n",
        "register_kind(3): is no kind of joint, mount, guide.",
    ),
    "a part that is closed": (
        "import bedsim\nfrom bedsim.registry import CouplingKind\n"
        'bedsim.register_kind(CouplingKind(name="bellows", sentence="a bellows"))\n',
        "coupling.kind = bellows: is no kind of joint, mount, guide.",
    ),
    "no function": (
        PENDULUM.replace("        make=make,\n", ""),
        "missing 1 required keyword-only argument: 'make'",
    ),
    "a number as one": (
        PENDULUM.replace("make=make,", "make=3,"),
        "joint.kind = pendulum: make is no function.",
    ),
    "a name that is taken": (
        PENDULUM.replace('name="pendulum"', 'name="rolling"'),
        "joint.kind = rolling: there is a kind of this name already.",
    ),
    "a name that is none": (
        PENDULUM.replace('name="pendulum"', 'name="a b"'),
        "is named by letters, digits and _.",
    ),
    "no sentence": (PENDULUM.replace('a carriage that hangs on wires from its nut"', '"'), "has no sentence"),
    "a key without unit": (
        PENDULUM.replace("wire_length_mm", "wire_length"),
        "joint.kind = pendulum: wire_length has no unit in its name, as in wire_length_mm.",
    ),
    "a key without sentence": (
        PENDULUM.replace('    """Free length of the wires."""\n', ""),
        "joint.kind = pendulum: wire_length_mm has no sentence under it.",
    ),
    "a key without default": (
        PENDULUM.replace('            "wire_length_mm": bedsim.Default(20.0, 40.0, 80.0),\n', ""),
        "joint.kind = pendulum: wire_length_mm has no default.",
    ),
    "a key that is there": (
        PENDULUM.replace("wire_length_mm", "travel_mm"),
        "joint.kind = pendulum: travel_mm is a key of joint already.",
    ),
    "a common key without default": (
        PENDULUM.replace('            "axial_n_per_um": bedsim.Default(2.0, 5.0, 10.0),\n', ""),
        "joint.kind = pendulum: axial_n_per_um has no default: give one, or say under idle that it",
    ),
    "an unknown idle key": (
        PENDULUM.replace('"lateral_n_per_mm", ', '"lateral", '),
        "joint.kind = pendulum: joint.lateral is no key, and cannot do nothing beside it.",
    ),
    "a default out of range": (
        PENDULUM.replace("Default(20.0, 40.0, 80.0)", "Default(0.0, 40.0, 80.0)"),
        "joint.kind = pendulum: wire_length_mm: a default of 0 is outside what the key allows.",
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_a_bad_kind_is_one_sentence(folder, capsys, case):
    text, told = BAD[case]
    name = "no.py" if text is None else "bad.py"
    if text is not None:
        assert text != PENDULUM, "nothing was spoilt"
        (folder / name).write_text(text, "utf-8")
    before = registry.names("joint")
    assert main(["run", "machine.toml", "--kinds", name]) == 2
    out = capsys.readouterr().err.strip()
    assert told in out
    assert "\n" not in out
    assert registry.names("joint") == before
    assert not registry.outside_files()
    bedsim.load_kinds("pendulum.py")  # nothing of it is left behind


GUIDE = """
import bedsim

bedsim.register_kind(
    bedsim.GuideKind(
        name="dovetail",
        sentence="dovetail slide",
        defaults={
            "radial_n_per_um": bedsim.Default(5.0, 10.0, 20.0),
            "tangential_n_per_um": bedsim.Default(5.0, 10.0, 20.0),
            "tilt_nm_per_rad": bedsim.Default(100.0, 300.0, 900.0),
            "yaw_nm_per_rad": bedsim.Default(100.0, 300.0, 900.0),
            "friction_n": bedsim.Default(2.0, 5.0, 9.0),
            "breakaway_um": bedsim.Default(5.0, 15.0, 50.0),
        },
    )
)
"""


def test_a_guide_of_ones_own_is_its_numbers(folder):
    (folder / "dovetail.py").write_text(GUIDE, "utf-8")
    (folder / "keyed.py").write_text(
        GUIDE.replace("        name=", "        keys=int,\n        name="), "utf-8"
    )
    with pytest.raises(InputError, match=r"a kind of guide has no keys of its own"):
        bedsim.load_kinds("keyed.py")
    bedsim.load_kinds("dovetail.py")
    loaded = load_scenario("machine.toml", ["joint={kind='rigid'}", "guide.kind=dovetail"])
    assert {c.guide.friction_n for c in loaded.scenario.corner} == {5.0}
    assert main(["new", "made.toml", "--defaults", "--guide", "dovetail"]) == 0


PAD = '''
from dataclasses import replace

import bedsim
from bedsim.model.mount_kind import springs
from bedsim.scenario.section import Positive
from bedsim.units import GPA, MM


class PadKeys(bedsim.MountKeys):
    pad_height_mm: Positive
    """Height of the pad, thin against its 20 mm of width."""


def make(part, point, outward):
    # A square block in shear alone, G A/h: bending adds a third of (h/b)^2 to its give.  Derived.
    stiffness = 0.5e-3 * GPA * (20 * MM) ** 2 / (part.pad_height_mm * MM)
    return replace(springs(part, point, outward), radial=stiffness, tangential=stiffness)


bedsim.register_kind(
    bedsim.MountKind(
        name="pad",
        sentence="a rubber pad",
        keys=PadKeys,
        make=make,
        defaults={
            "pad_height_mm": bedsim.Default(1.0, 2.0, 4.0),
            "vertical_n_per_um": bedsim.Default(1.0, 2.0, 4.0),
        },
        idle={
            "the pad's own size gives it": ("mount.radial_n_per_um", "mount.tangential_n_per_um"),
            "a pad does not slide": ("mount.friction_coefficient", "mount.breakaway_um"),
            "only a flexure has it": ("mount.rotation_nm_per_rad",),
        },
    )
)
'''


def test_a_mount_of_ones_own(folder):
    """By hand: 0.5 MPa x 20 mm x 20 mm / 2 mm = 100 N/mm."""
    (folder / "pad.py").write_text(PAD, "utf-8")
    bedsim.load_kinds("pad.py")
    loaded = load_scenario("machine.toml", ["joint={kind='rigid'}", "mount.kind=pad"])
    machine = build_machine(loaded.scenario, loaded.tables)
    link = next(link for link in machine.links if link.name == "left.mount")
    np.testing.assert_allclose(np.diag(link.stiffness), [1e5, 1e5, 2e6], rtol=1e-12)
    assert not [f for f in machine.frictions if ".mount" in f.name]
    assert "mount unloaded" not in {row.name for row in size_scenario(loaded).checks}


def test_two_files_of_one_name_and_a_kind_out_of_nowhere(hung, tmp_path):
    assert bedsim.load_kinds("pendulum.py") == ()
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "pendulum.py").write_text(PENDULUM, "utf-8")
    with pytest.raises(InputError, match="kinds of a file of this name are in use already"):
        bedsim.load_kinds(tmp_path / "other" / "pendulum.py")
    with pytest.raises(InputError, match="is called in a file that"):
        bedsim.register_kind(registry.find("joint", "pendulum"))
