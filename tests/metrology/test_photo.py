"""Photos of walls that are known: what is read from them, in all weathers, and what is refused."""

import struct
import zlib

import numpy as np
import pytest
from PIL import Image

from bedsim.cli.main import main
from bedsim.errors import InputError
from bedsim.metrology import recipes
from bedsim.metrology.photo_file import read_photo
from bedsim.metrology.picture_input import LARGEST_PICTURE, png_bytes, read_picture
from bedsim.units import DEG, MM, UM
from bedsim.wall.invented_photo import Shot, banded_wall, photographed

HEAD = "# picture = wall.png\n# wall = +X\n# probe = centre\n# light = above\n"


def take(folder, shot, notes="", seed=1, name="wall.png", length=5 * MM, crest=1.2 * MM, amplitude=10 * UM):
    data, points = photographed(banded_wall(length, crest, amplitude), shot, np.random.default_rng(seed))
    if name.endswith("png"):
        (folder / name).write_bytes(png_bytes(data))
    else:
        Image.fromarray(data.astype(np.uint8)).save(folder / name, quality=85)
    rows = "".join(f"{x:.1f},{y:.1f},{h}\n" for (x, y), h in zip(points, (0, 40), strict=True))
    head = HEAD.replace("wall.png", name)
    (folder / "w.csv").write_text(head + notes + "x_px,y_px,height_mm\n" + rows)
    return folder / "w.csv"


@pytest.mark.parametrize(
    ("shot", "name"),
    [
        (Shot(), "wall.png"),
        (Shot(grain=0.1), "wall.png"),
        (Shot(tilt=6 * DEG, grain=0.03), "wall.png"),
        (Shot(vignette=0.7, grain=0.03), "wall.png"),
        (Shot(tilt=-4 * DEG, vignette=0.5, grain=0.05), "wall.jpg"),
        (Shot(pixels=12_000.0, grain=0.05), "wall.png"),
    ],
)
def test_bands_of_a_known_wall(tmp_path, shot, name):
    """Contrast by Lambert: 2 pi 10 um/5 mm tan 60 deg = 2.18 %; with length and crest it comes within two of
    its uncertainties."""
    found = read_photo(take(tmp_path, shot, name=name))
    band = found.bands[0]
    assert band.wavelength == pytest.approx(5 * MM, abs=2 * band.wavelength_uncertainty)
    assert band.crest == pytest.approx(1.2 * MM, abs=2 * band.crest_uncertainty)
    assert band.contrast == pytest.approx(0.02177, abs=2 * band.contrast_uncertainty)
    assert found.amplitude[0] is None


def test_the_wall_view_of_this_house(tmp_path, request):
    """The shipped picture: bands of a lead of 5 mm; the relief drawn beside has a crest at 4.1 mm."""
    path = request.config.rootpath / "results/example.png"
    (tmp_path / "wall.png").write_bytes(path.read_bytes())
    rows = "# across_px = -40, 40\nx_px,y_px,height_mm\n189,454,0\n189,77,64\n"
    (tmp_path / "w.csv").write_text(HEAD + rows)
    band = read_photo(tmp_path / "w.csv").bands[0]
    assert band.wavelength == pytest.approx(5 * MM, abs=2 * band.wavelength_uncertainty)
    assert band.crest == pytest.approx(4.1 * MM, abs=0.15 * MM)
    assert band.contrast == pytest.approx(0.15, abs=0.01)  # as the picture says of itself


def test_light_from_below_and_a_scale_of_layers(tmp_path):
    path = take(tmp_path, Shot(grain=0.03))
    above = read_photo(path).bands[0]
    path.write_text(path.read_text().replace("= above", "= below"))
    below = read_photo(path).bands[0]
    assert (below.crest - above.crest) % below.wavelength == pytest.approx(below.wavelength / 2, rel=1e-6)
    lines = path.read_text().splitlines()
    path.write_text("\n".join(["# layer_mm = 0.25", *lines[:-1]]).replace("= below", "= above") + "\n")
    by_layers = read_photo(path).bands[0]
    assert by_layers.wavelength == pytest.approx(5 * MM, abs=2 * by_layers.wavelength_uncertainty)


def test_amplitude_beside_a_coupon(tmp_path):
    """Left a wall of 6 um at 5 mm, right a coupon of 12 um at 3 mm in the same light."""
    path = take(tmp_path, Shot(grain=0.03), amplitude=6 * UM)
    own = np.asarray(Image.open(tmp_path / "wall.png"))
    take(tmp_path, Shot(grain=0.03), amplitude=12 * UM, length=3 * MM, seed=2)
    both = np.hstack([own, np.asarray(Image.open(tmp_path / "wall.png"))])
    (tmp_path / "wall.png").write_bytes(png_bytes(both))
    path.write_text(
        "# coupon_um = 12\n# coupon_sigma_um = 0.5\n# coupon_across_px = 250, 550\n" + path.read_text()
    )
    value, u = read_photo(path).amplitude[0]
    assert value == pytest.approx(6 * UM, abs=2 * u) and u < 0.9 * UM


def bomb(width, height):
    """A PNG whose head promises so many pixels."""
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)

    def part(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    return (
        b"\x89PNG\r\n\x1a\n"
        + part(b"IHDR", head)
        + part(b"IDAT", zlib.compress(b"\0" * 999))
        + part(b"IEND", b"")
    )


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (bomb(60_000, 60_000), "more than 50 million pixels are not read"),
        (bomb(10_000, 6_000), "is 10000 x 6000 pixels: more than 50 million"),
        (bomb(50, 5000), "is 50 x 5000 pixels: at least 100"),
        (bomb(500, 500), "cannot be decoded"),
        (b"GIF89a" + bytes(200), "is not a picture in PNG or JPEG"),
        (b"", "is not a picture in PNG or JPEG"),
        (b"\xff\xd8\xff\xe0" + bytes(300), "is not a picture|cannot be decoded"),
    ],
)
def test_pictures_that_are_not_read_are_one_sentence(tmp_path, data, told):
    assert LARGEST_PICTURE == 50e6
    (tmp_path / "p.png").write_bytes(data)
    with pytest.raises(InputError, match=told) as caught:
        read_picture(tmp_path / "p.png")
    assert str(caught.value).startswith(f"{tmp_path}/p.png: ") and "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda s: s.replace("= above", "= left"), "light = left: must be above or below"),
        (lambda s: s.replace("wall.png", "../wall.png"), "picture = ../wall.png: must name"),
        (lambda s: s.replace("wall.png", "none.png"), "none.png: cannot be read: no such file"),
        (lambda s: s.replace("# wall", "# wal"), "wal = [+]X: key not known"),
        (lambda s: s + "9999,5,20\n", "line 8, x_px = 9999: lies outside the picture"),
        (lambda s: s.replace(",40\n", ",0\n"), "the points must lie at different heights"),
        (lambda s: "\n".join(s.splitlines()[:-1]) + "\n", "one point gives no scale"),
        (lambda s: "# across_px = 5\n" + s, "across_px = 5: must be two numbers"),
        (lambda s: "# heights_mm = 1, 2\n" + s, "the part to look at is 20 pixels high"),
        (lambda s: "# coupon_um = 5\n" + s, "coupon_um and coupon_across_px belong together"),
    ],
)
def test_faults_are_named(tmp_path, change, told):
    path = take(tmp_path, Shot())
    path.write_text(change(path.read_text()))
    with pytest.raises(InputError, match=told):
        read_photo(path)


def test_the_example_from_the_command(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["gauge", "--example", "photo", "w.csv"]) == 0
    assert main(["gauge", "w.csv"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "bands of 5.002 ±" in out and "No amplitude: the light's angle" in out
    assert (tmp_path / "results/w_gauge.png").exists() and not list(tmp_path.glob("results/*.csv"))
    assert main(["gauge", "--example", "photo", "w2.csv"]) == 2
    assert recipes.which_test(["x_px", "y_px", "height_mm"], {}) == "photo"
