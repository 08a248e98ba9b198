"""Reading files of gauge readings and bands."""

import numpy as np
import pytest

from bedsim.diagnosis.band_kinds import BandKind, sort_readings
from bedsim.diagnosis.readings import read_readings, reading_rows, wall_row
from bedsim.diagnosis.response import UnitResponses
from bedsim.errors import InputError
from bedsim.wall.relief import wall_relief

SOURCES = (("run-out", "left"), ("run-out", "right"))
GAUGE = "probe,axis,eighth,reading_um\n"


def turn_of(axis, value, probe="centre", tail=""):
    psi = np.arange(8) * np.pi / 4
    return "".join(
        f"{probe},{axis},{k},{(value * np.exp(1j * p)).real + 7:.6f}{tail}\n" for k, p in enumerate(psi)
    )


def write(tmp_path, text):
    path = tmp_path / "readings.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_gauge_file_gives_one_amplitude_per_probe_and_axis(tmp_path):
    path = write(tmp_path, GAUGE + turn_of("x", 3 + 1j) + "# a remark\n\n" + turn_of("Y", -2j))
    x, y = read_readings(path, 0.5e-6)
    assert x.value == pytest.approx((3 + 1j) * 1e-6, abs=1e-11)
    assert y.value == pytest.approx(-2e-6j, abs=1e-11)
    assert (x.place, y.place) == ("x", "y")
    assert x.sigma == pytest.approx(0.25e-6)
    assert x.scatter < 1e-4


def test_readings_after_turning_a_coupling_are_kept_apart(tmp_path):
    head = "probe,axis,eighth,reading_um,turned,turned_deg\n"
    path = write(tmp_path, head + turn_of("x", 1, tail=",,") + turn_of("x", 1j, tail=",left,90"))
    first, second = read_readings(path)
    assert first.turned == ""
    assert (second.turned, second.turn) == ("left", pytest.approx(np.pi / 2))


def test_band_file_gives_amplitude_and_phase(tmp_path):
    text = "wall,probe,wavelength_mm,amplitude_um,crest_mm,sigma_um\n+X,centre,5,4,1.25,0.3\n"
    (band,) = read_readings(write(tmp_path, text))
    assert band.value == pytest.approx(-4e-6j)
    assert band.sigma == pytest.approx(0.3e-6)
    assert band.wavelength == pytest.approx(5e-3)


def test_all_faults_come_with_line_and_remedy(tmp_path):
    text = GAUGE + "centre,w,0,1\ncentre,x,one,2\n,x,2,nan\n"
    with pytest.raises(InputError) as fault:
        read_readings(write(tmp_path, text))
    message = str(fault.value)
    assert "line 2: axis = 'w': must be x, y or z" in message
    assert "line 3: eighth = 'one': must be a number" in message
    assert "line 4: reading_um = 'nan': must be a number" in message
    assert "line 4: probe is empty" in message


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "is empty"),
        ("probe,axis,eigth,reading_um\n", "Did you mean eighth"),
        ("probe,axis,eighth,reading_um\n", "no readings below the header"),
        ("wall,probe,wavelength_mm,amplitude_um,crest_mm\nup,centre,5,1,0\n", "must be \\+X"),
        (
            "wall,probe,wavelength_mm,amplitude_um,crest_mm\n+X,centre,0,1,0\n",
            "wavelength_mm = 0: must be above 0",
        ),
        (GAUGE + "centre,x,0,1\ncentre,x,4,1\n", "probe centre, axis x: a turn needs readings at 4 or more"),
        ("probe,axis,eighth,reading_um,turned\ncentre,x,0,1,left\n", "turned and turned_deg belong together"),
    ],
)
def test_unusable_files_are_refused(tmp_path, text, message):
    with pytest.raises(InputError, match=message):
        read_readings(write(tmp_path, text))


def test_missing_and_binary_files_are_refused(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_readings(tmp_path / "nothing.csv")
    (tmp_path / "b.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="begins as text in UTF-16 and is none"):
        read_readings(tmp_path / "b.csv")


def test_wall_row_is_the_relief_of_a_wave():
    """The row against the relief computed layer by layer for one turning source."""
    lead, h, w = 5e-3, 0.2e-3, 0.45e-3
    answers = np.array([[0.4 + 0.1j], [-0.3j], [0.2 - 0.2j]])
    psi = 2 * np.pi * h * np.arange(200) / lead
    d = [(a[0] * np.exp(1j * psi)).real for a in answers]
    normal = np.array([0.6, 0.8])
    relief = wall_relief(np.stack(d[:2], -1), d[2], normal=normal, line_width=w, layer_height=h)
    row = wall_row(answers, normal, lead=lead, layer_height=h, line_width=w)
    assert (row[0] * np.exp(1j * psi)).real[1:] == pytest.approx(relief[1:])


def test_rows_belong_to_their_readings(tmp_path):
    head = "probe,axis,eighth,reading_um,turned,turned_deg\n"
    path = write(tmp_path, head + turn_of("y", 1, tail=",,") + turn_of("x", 1, tail=",left,90"))
    answers = np.arange(6).reshape(1, 3, 2) + 0j
    rows = reading_rows(
        read_readings(path),
        UnitResponses(probe_name=("centre",), sources=SOURCES, response=answers),
        lead=5e-3,
        layer_height=0.2e-3,
        line_width=0.45e-3,
    )
    assert rows[0] == pytest.approx([2, 3])
    assert rows[1] == pytest.approx([0, 1])
    assert reading_rows(
        read_readings(path),
        UnitResponses(probe_name=("centre",), sources=SOURCES, response=answers + 1),
        lead=5e-3,
        layer_height=0.2e-3,
        line_width=0.45e-3,
    )[1] == pytest.approx([1j, 2])


def test_unknown_probes_and_corners_are_refused_where_they_stand(tmp_path):
    text = "wall,probe,wavelength_mm,amplitude_um,crest_mm,turned,turned_deg\n"
    text += "+X,middle,5,1,0,,\n+X,center,5,1,0,,\n+X,centre,5,1,0,front,90\n+X,center,5,1,0,,\n"
    with pytest.raises(InputError) as fault:
        reading_rows(
            read_readings(write(tmp_path, text)),
            UnitResponses(probe_name=("centre",), sources=SOURCES, response=np.zeros((1, 3, 2), complex)),
            lead=5e-3,
            layer_height=0.2e-3,
            line_width=0.45e-3,
        )
    told = str(fault.value).splitlines()
    assert [line.partition("readings.csv: ")[2] for line in told] == [
        "line 2: probe = 'middle': must be one of centre.",
        "line 3: probe = 'center': must be one of centre. Did you mean centre?",
        "line 4: turned = 'front': must be one of left, right.",
    ]


def test_bands_of_another_length_are_found(tmp_path):
    """5 % about the lead of 5 mm, by hand: 4.75 to 5.25 mm."""
    text = "wall,probe,wavelength_mm,amplitude_um,crest_mm\n"
    text += "".join(f"+X,centre,{w},1,0\n" for w in (5, 3.2, 5.2, 5.3))
    of_lead = BandKind(name="lead", times=1.0, on_screw=True, corners=("left",), seen=5e-3, backwards=False)
    by_kind, found = sort_readings(read_readings(write(tmp_path, text)), [of_lead])
    assert len(by_kind[of_lead]) == 2
    assert [r.wavelength for r in found] == pytest.approx([3.2e-3, 5.3e-3])
    assert [r.where.partition("readings.csv: ")[2] for r in found] == ["line 3", "line 5"]


def test_a_folded_wave_is_counted_along_the_turn(tmp_path):
    """1.2 mm layers on a lead of 2 mm, by hand: 0.6 turns a layer look like 0.4 turns back, 3 mm; a crest a
    quarter of 3 mm up means a phase of -90 degrees on the wall and +90 along the turn."""
    text = "wall,probe,wavelength_mm,amplitude_um,crest_mm\n+X,centre,3.05,4,0.75\n"
    folded = BandKind(name="lead", times=1.0, on_screw=True, corners=("left",), seen=3e-3, backwards=True)
    by_kind, _ = sort_readings(read_readings(write(tmp_path, text)), [folded])
    value = by_kind[folded][0].value
    assert value == pytest.approx(4e-6j)
    layers = np.arange(6)
    assert (value * np.exp(2j * np.pi * 0.6 * layers)).real == pytest.approx(
        4e-6 * np.cos(2 * np.pi * (1.2 * layers - 0.75) / 3), abs=1e-12
    )
