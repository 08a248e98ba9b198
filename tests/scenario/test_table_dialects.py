"""One reader for every table: what spreadsheets make of a table reads as the table itself."""

import csv
import io

import pytest

from bedsim.diagnosis.readings import read_readings as read_bands
from bedsim.errors import InputError, UnreadableError
from bedsim.metrology.readings import read_readings
from bedsim.scenario.histories import read_history
from bedsim.scenario.load import load_scenario
from bedsim.screws.lots import Dimensions, read_lot
from bedsim.table_text import in_units, table_text

NOTED = "# setup = v-block   # nut, or others\n# supports_mm = 20, 380\n# length_mm = 400.5\n"
TURN = "position_mm,angle_deg,reading_um\n" + "".join(
    f"{s},{a},{(a % 100) / 8}\n" for s in (50, 150.5) for a in range(0, 360, 45)
)


def as_saved(text, separator, decimal, encoding="utf-8", line_end="\r\n", top=""):
    """A table as a spreadsheet saves it: every row of as many cells, what holds a separator in quotes."""
    rows = [line.split(",") for line in text.splitlines()]
    width = max(map(len, rows))
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator, lineterminator=line_end)
    for cells in rows:
        plain = [c.replace(".", decimal) if c[:1].isdigit() or "=" in c else c for c in cells]
        writer.writerow(plain + [""] * (width - len(cells)))
    return (top + out.getvalue()).encode(encoding)


DIALECTS = {
    "comma": (",", "."),
    "comma, decimal comma in quotes": (",", ","),
    "semicolon, decimal comma": (";", ","),
    "semicolon, point, mark": (";", ".", "utf-8-sig"),
    "tab, decimal comma, UTF-16": ("\t", ",", "utf-16"),
    "old line ends": (";", ",", "utf-8", "\r"),
    "separator stated": (";", ",", "utf-8", "\r\n", "sep=;\r\n"),
}


@pytest.fixture(params=DIALECTS.values(), ids=DIALECTS)
def dialect(request):
    return request.param


def test_rows_are_those_of_the_plain_table(dialect):
    plain, found = table_text(TURN.encode(), "t"), table_text(as_saved(TURN, *dialect), "t")
    assert [cells for _, cells in found.rows] == [cells for _, cells in plain.rows]


def test_notes_keep_what_a_spreadsheet_splits(dialect):
    notes = table_text(as_saved(NOTED + TURN, *dialect), "t").notes
    assert notes["setup"] == "v-block"
    if dialect[:2] != (",", ","):  # there a comma between digits is no decimal one: 20, 380
        assert notes == {"setup": "v-block", "supports_mm": "20, 380", "length_mm": "400.5"}


def test_every_door_takes_every_dialect(dialect, tmp_path, write):
    """Readings of a screw, bands, a lot, a table and a history of a scenario."""

    def file(name, text, how=dialect):
        (tmp_path / name).write_bytes(as_saved(text, *how))
        return tmp_path / name

    assert (
        read_readings(file("a.csv", TURN))[0].value == read_readings(file("b.csv", TURN, (",", ".")))[0].value
    ).all()
    bands = "wall,probe,wavelength_mm,amplitude_um,crest_mm\n+X,centre,5,4.5,1.25\n+Y,centre,5,1.5,3.1\n"
    assert [r.crest for r in read_bands(file("c.csv", bands))] == pytest.approx([1.25e-3, 3.1e-3])
    lot = read_lot(
        file("d.csv", "screw,bow_tir_um\na,30.5\nb,31.5\n"),
        Dimensions(length=0.4, diameter=0.012, lead=0.005),
    )
    assert lot.bow_tir.mean == pytest.approx(31e-6)
    assert read_history(tmp_path, file("e.csv", "time_s,force_n\n0,1.5\n0.5,2\n").name, "w")[1].tolist() == [
        [0, 1.5],
        [0.5, 2],
    ]
    file("f.csv", "position_mm,offset_x_um,offset_y_um\n0,1.5,2\n100,3,4.25\n")
    loaded = load_scenario(write(("[guide]", '[screw.run_out]\ntable = "f.csv"\n[guide]')))
    assert loaded.tables["f.csv"].tolist() == [[0, 1.5, 2], [100, 3, 4.25]]


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"a_um;b\n1,5;2\n1.234,5;2\n2.5;1\n", "t: line 2: 1,5 beside 2.5 in line 4: decimals stand behind"),
        (b"a_um;b\n1,5;2\n1.5;2\n", "t: line 2: 1,5 beside 1.5 in line 3: decimals stand behind"),
        (b"\xff\xfea\x00b", "t: begins as text in UTF-16 and is none"),
        (b"a,b\n1,\xe9\n", "t: line 2: is not text in UTF-8"),
    ],
)
def test_doubt_is_refused(data, told):
    with pytest.raises(UnreadableError) as caught:
        table_text(data, "t")
    assert str(caught.value).startswith(told)


def test_lengths_in_other_units():
    """One thou is 25.4 um exactly (international inch, 1959)."""
    table = in_units(
        table_text(b"reading_thou,place_inch,n\n1.5,2,x\nno,1,y\n", "t"), ("reading_um", "place_mm")
    )
    assert [cells for _, cells in table.rows] == [
        ["reading_um", "place_mm", "n"],
        ["38.1", "50.8", "x"],
        ["no", "25.4", "y"],
    ]
    both = table_text(b"reading_um,reading_thou\n1,2\n", "t")
    assert in_units(both, ("reading_um",)) is both


@pytest.mark.parametrize(
    ("inch", "metric"),
    [
        (
            "wall,probe,wavelength_inch,amplitude_thou,crest_inch,sigma_thou\n+X,centre,0.2,0.1,0.05,0.05\n",
            "wall,probe,wavelength_mm,amplitude_um,crest_mm,sigma_um\n+X,centre,5.08,2.54,1.27,1.27\n",
        ),
        (
            "probe,axis,eighth,reading_thou\n" + "".join(f"c,x,{k},{k * k % 5}\n" for k in range(8)),
            "probe,axis,eighth,reading_um\n" + "".join(f"c,x,{k},{k * k % 5 * 25.4:.1f}\n" for k in range(8)),
        ),
    ],
)
def test_gauges_in_thou_and_bands_in_inches(inch, metric, tmp_path):
    found = []
    for name, text in (("i.csv", inch), ("m.csv", metric)):
        (tmp_path / name).write_text(text)
        found.append(read_bands(tmp_path / name)[0])
    assert found[0].value == pytest.approx(found[1].value)
    assert found[0].sigma == pytest.approx(found[1].sigma)


def test_how_a_screw_was_read_in_inches(tmp_path):
    notes = (
        "# setup = v-block\n# supports_inch = 1, 15\n# length_inch = 16\n# support_uncertainty_thou = 0.2\n"
    )
    (tmp_path / "a.csv").write_text(notes + TURN)
    setup = read_readings(tmp_path / "a.csv")[1]
    assert (setup.length, setup.supports) == (pytest.approx(0.4064), pytest.approx((0.0254, 0.381)))
    assert setup.support_uncertainty == pytest.approx(5.08e-6)


def test_rows_of_another_length_are_refused_at_every_door(tmp_path):
    for name, read in (("bands.csv", read_bands), ("lot.csv", lambda p: read_lot(p, None))):
        text = "probe,axis,eighth,reading_um\n" if name == "bands.csv" else "screw,bow_tir_um\n"
        (tmp_path / name).write_text(text + "c,1,2,3,4,5\n")
        with pytest.raises(InputError, match=r"line 2: has 6 cells"):
            read(tmp_path / name)
