"""Refusals: every fault of a file in one list, in one form, each told once, with the nearest spelling."""

import pytest

from bedsim.errors import InputError
from bedsim.scenario.load import load_scenario

ONE_FAULT = [
    (("layer_mm = 0.2", "layer_mm = -0.2"), "print.layer_mm = -0.2: must be > 0."),
    (("layers = 40", "layers = 40.5"), "print.layers = 40.5: must be a whole number."),
    (("mass_kg = 2.5", "mass_kg = true"), "bed.mass_kg = true: must be a number or a table"),
    (("mass_kg = 2.5", 'mass_kg = "2.5"'), 'bed.mass_kg = "2.5": must be a number or a table'),
    (("mass_kg = 2.5", "mass_kg = nan"), "bed.mass_kg = nan: must be"),
    (("mass_kg = 2.5", "mass_kg = inf"), "bed.mass_kg = inf: must be finite."),
    (("mass_kg = 2.5\n", ""), "bed.mass_kg: is missing."),
    (
        ("lead_mm = 5", "lead_mm = -5"),
        'screw.lead_mm = -5: must be > 0. A left-hand screw has hand = "left".',
    ),
    (("lead_mm = 5", "lead = 5\nlead_mm = 5"), "screw.lead = 5: unknown key. Did you mean lead_mm?"),
    (
        ("lead_mm = 5", "lead_mm = 0.005"),
        "motion.speed_mm_s = 3: turns the motor at A at 36000 rpm (lead_mm = 0.005, gear_ratio = 1)",
    ),
    (
        ("[guide]", "[motor]\ngear_ratio = 100\n[guide]"),
        "motion.speed_mm_s = 3: turns the motor at A at 3600 rpm",
    ),
    (
        ("length_mm = 400", 'length_mm = 400\nends = "motor-free"\n[drive]\ntopology = "belt"'),
        'screw.ends = "motor-free": no motor stands under the screw of corner A: drive.topology = belt.',
    ),
    (
        ("[guide]", '[coupling]\nkind = "jow"\n[guide]'),
        'coupling.kind = "jow": must be one of rigid, jaw, helical, disc, not_known.',
    ),
    (("[guide]", "[coupling]\ntilt_nm_per_rad = -3\n[guide]"), "coupling.tilt_nm_per_rad = -3: must be > 0."),
    (("size_x_mm = 300", "size_x_mm = 0.3"), "bed.size_x_mm = 0.3: must be at least 10."),
    (("[guide]", "[guide]\nradal = 5"), "guide.radal = 5: unknown key. Did you mean radial_n_per_um?"),
    (
        ("[guide]", "[guide]\nlayers = 5"),
        "guide.layers = 5: unknown key. It belongs in [print] or [print.section].",
    ),
    (("[guide]", "[giude]\nx = 1\n[guide]"), "giude = {x = 1}: unknown key. Did you mean guide?"),
    (
        ("rolled_ball", "roled_ball"),
        'screw.kind = "roled_ball": must be one of ground_ball, rolled_ball, plain.',
    ),
    (('kind = "rolled_ball"\n', ""), "screw.kind: is missing."),
    (('name = "B"', 'name = "A"'), 'corner.name = "A": 2 entries have this name, each needs its own.'),
    (('name = "B"', 'name = "B.1"'), 'corner.B.1.name = "B.1": may only hold letters'),
    (("y_mm = 180", "y_mm = -100"), "corner: the corners A, B, C stand on one line"),
    (("x_mm = 180", "x_mm = -180"), "corner.B: stands at the same place as corner A."),
    (("layers = 40", "layers = 2000"), "print.layers = 2000: the nut runs off the screw"),
    (
        ("layers = 40", "layers = 40\nfirst_layer_nut_mm = 395"),
        "print.first_layer_nut_mm = 395: must be at least",
    ),
    (("[guide]", "[guide]\nradial_n_per_um = {low=3, likely=2, high=4}"), "guide.radial_n_per_um = {low = 3"),
    (
        ("[guide]", "[guide]\nradial_n_per_um = {low=-3, likely=2, high=4}"),
        "guide.radial_n_per_um.low = -3: must",
    ),
    (("[guide]", "[guide]\nradial_n_per_um = {likely=2, high=4}"), "guide.radial_n_per_um.low: is missing."),
    (
        ("layers = 40", "layers = {low=30, likely=40, high=50}"),
        "print.layers = {low = 30, likely = 40, high = 50}",
    ),
    (("[guide]", "[output]\ntrace_layers = [99]\n[guide]"), "output.trace_layers: layer 99 is not printed"),
    (("[guide]", "[joint]\nkind = 'air_film'\n[guide]"), "joint.rotation_nm_per_rad: is missing."),
    (
        ("[guide]", "[nut]\nclearance_um = 9\n[guide]"),
        'nut.clearance_um = 9: does nothing beside screw.kind = "rolled_ball"',
    ),
    (
        ("diameter_mm = 16", "diameter_mm = 16\nroot_diameter_mm = 17"),
        "screw: root_diameter_mm must not exceed",
    ),
    (("[bed]\n", "[bedd]\n"), "bedd = {"),
    (("layers = 40", "layer = 40"), "print.layer = 40: unknown key. Did you mean layers?"),
    (("lead_mm = 5", "leed_mm = 5"), "screw.leed_mm = 5: unknown key. Did you mean lead_mm?"),
]


@pytest.mark.parametrize(
    ("change", "start"),
    ONE_FAULT,
    ids=[start.split(":")[0] + str(i) for i, (_, start) in enumerate(ONE_FAULT)],
)
def test_a_fault_names_key_value_rule(write, faults, change, start):
    lines = faults(write(change))
    assert any(line.startswith(start) for line in lines), lines


@pytest.mark.parametrize("change", [change for change, _ in ONE_FAULT])
def test_one_fault_gives_one_line(write, faults, change):
    """A fault in a common table is told once, not once for each corner, and drags no others along: not
    even that the key it was meant for is missing."""
    assert len(faults(write(change))) == 1


def test_all_faults_come_in_one_list(write, faults):
    lines = faults(
        write(
            ("layer_mm = 0.2", "layer_mm = 0"),
            ("[guide]", "[guide]\ntable = '/etc/passwd'\nfriction_n = {low = 1, likely = 2, hgh = 3}"),
            ("y_mm = 180\n", "y_mm = 180\nmotor.microsteps = 0\n"),
            ("title =", "titel ="),
        )
    )
    starts = [line.split(":")[0] for line in lines]
    assert len(lines) == 5
    assert "print.layer_mm = 0" in starts
    assert "guide.friction_n.hgh" in starts
    assert 'titel = "three corners"' in starts
    assert "corner.C.motor.microsteps = 0" in starts
    assert 'guide.table = "/etc/passwd"' in starts


def test_a_fault_in_a_corners_own_table_names_the_corner(write, faults):
    lines = faults(write(("x_mm = 180\n", "x_mm = 180\nscrew.lead_mm = 0\n")))
    assert lines == ['corner.B.screw.lead_mm = 0: must be > 0. A left-hand screw has hand = "left".']


@pytest.mark.parametrize("count", [0, 1, 2])
def test_fewer_than_three_corners_are_refused_clearly(write, faults, text, tmp_path, count):
    path = tmp_path / "few.toml"
    path.write_text("[[corner]]".join(text.split("[[corner]]")[: count + 1]))
    hint = "A bed hangs on three screws or more: one [[corner]] table for each."
    assert faults(path) == [f"corner: {count} given, at least 3 needed. {hint}"]


def test_common_tables_are_checked_even_without_corners(faults, text, tmp_path):
    path = tmp_path / "none.toml"
    path.write_text(text.split("[[corner]]")[0].replace("lead_mm = 5", "lead_mm = 0"))
    assert any(line.startswith("screw.lead_mm = 0: must be > 0.") for line in faults(path))


@pytest.mark.parametrize(
    "wrong",
    [
        "corner = 3\n",
        'corner = "x"\n',
        "corner = [1, 2, 3]\n",
        "bed = 3\n",
        'screw = "x"\n',
        "[[bed]]\nx=1\n",
    ],
)
def test_a_value_in_place_of_a_table_is_a_fault_not_a_crash(faults, tmp_path, wrong):
    path = tmp_path / "wrong.toml"
    path.write_text('title = "x"\n' + wrong)
    assert any("must be a" in line for line in faults(path))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('title = "x\n', "line 1, column"),
        ("title = 'x'\n\nbed = 3,5\n", "Numbers are written with a decimal point."),
        ("title = 'x'\ntitle = 'y'\n", "line 2, column"),
        ("[bed\n", "line 1"),
    ],
)
def test_a_syntax_fault_tells_the_line(tmp_path, text, told):
    path = tmp_path / "broken.toml"
    path.write_text(text)
    with pytest.raises(InputError, match="is not TOML") as caught:
        load_scenario(path)
    assert told in str(caught.value)


def test_files_that_cannot_be_read_are_faults(tmp_path, write):
    path = write()
    with pytest.raises(InputError, match=r"no such file. Did you mean .*machine.toml\?"):
        load_scenario(tmp_path / "machin.toml")
    with pytest.raises(InputError, match="cannot be read"):
        load_scenario(tmp_path)
    path.write_bytes(b'title = "x"\nbad = "\xff"\n')
    with pytest.raises(InputError, match="line 2: is not text in UTF-8"):
        load_scenario(path)


@pytest.mark.parametrize(
    ("override", "told"),
    [
        (
            "screw.run_out.bow_measured=fre",
            '--set: screw.run_out.bow_measured = "fre": must be one of free, mounted. Did you mean "free"?',
        ),
        ("guide.radal=3", "--set: guide.radal: unknown key. Did you mean radial_n_per_um?"),
        (
            "corner.AA.screw.lead_mm=3",
            "--set: corner.AA.screw.lead_mm: there is no corner 'AA'. Did you mean A?",
        ),
        ("corner.B.screw.lead_mm=left", '--set: corner.B.screw.lead_mm = "left": must be a number'),
        ("print.layers", "--set: print.layers: an override is written key=value."),
        ("=3", "--set: =3: an override is written key=value."),
        ("bed.mass_kg.low=3", "--set: bed.mass_kg.low: unknown key."),
        ("bed=3", "--set: bed = 3: must be a table."),
        ("print.layers=2000", "--set: print.layers = 2000: the nut runs off the screw"),
        ("joint.element.2.x_mm=2", "--set: joint.element.2.x_mm: there is no element '2'."),
    ],
)
def test_overrides_are_refused_like_the_file(write, faults, override, told):
    assert any(line.startswith(told) for line in faults(write(), override)), faults(write(), override)


def test_an_override_that_no_corner_inherits_is_refused(write, faults):
    own = [(f'name = "{n}"', f'name = "{n}"\nscrew.clocking_deg = 5') for n in "ABC"]
    lines = faults(write(*own), "screw.clocking_deg=7")
    assert lines[0].startswith("--set: screw.clocking_deg: every corner has its own value.")


def test_a_plain_screw_without_starts_that_leaves_no_core_is_refused(write, faults):
    lines = faults(write(), "screw.kind=plain", "screw.diameter_mm=8", "screw.lead_mm=8")
    assert lines == [
        "screw.root_diameter_mm: cannot be worked out: diameter 8 with lead 8 and starts 1 leaves no core. "
        "Give starts (lead = starts x pitch), or root_diameter_mm as measured."
    ]
    assert load_scenario(
        write(), ["screw.kind=plain", "screw.diameter_mm=8", "screw.lead_mm=8", "screw.starts=4"]
    )
