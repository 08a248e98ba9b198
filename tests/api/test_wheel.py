"""What somebody has who installs a wheel, without a clone: by hand, since it is built and installed."""

import os
import re
import subprocess
import sys
import sysconfig
import venv
from email import message_from_string
from pathlib import Path

import pytest

pytestmark = pytest.mark.long
ROOT = Path(__file__).parents[2]
CLIENT = Path(__file__).with_name("client.py")


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    """An environment with the wheel; what it needs comes from the one that tests."""
    folder = tmp_path_factory.mktemp("wheel")
    said(folder, sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", folder, ROOT)
    place = folder / "env"
    venv.create(place, with_pip=True)
    (wheel,) = folder.glob("bedsim-*.whl")
    said(folder, place / "bin" / "python", "-m", "pip", "install", "-q", "--no-deps", wheel)
    site = said(
        folder, place / "bin" / "python", "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"
    )
    (Path(site.strip()) / "needed.pth").write_text(sysconfig.get_path("purelib"))
    return place


def said(folder, *words, **environment):
    """What a command prints, run in a folder of no repository."""
    inherited = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    done = subprocess.run(
        [str(word) for word in words],
        cwd=folder,
        env=inherited | environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def bedsim(installed, folder, *words, **environment):
    return said(folder, installed / "bin" / "bedsim", *words, **environment)


def test_it_is_the_wheel_that_answers(installed, tmp_path):
    place = said(tmp_path, installed / "bin" / "python", "-c", "import bedsim; print(bedsim.__file__)")
    assert Path(place.strip()).is_relative_to(installed)


def test_the_client_passes_strict_types_against_it(installed, tmp_path):
    pytest.importorskip("mypy")
    python = installed / "bin" / "python"
    said(tmp_path, python, "-m", "mypy", "--strict", "--follow-imports=silent", CLIENT)
    told = tmp_path / "wrong.py"
    told.write_text("import bedsim\nnumber: int = bedsim.load_scenario('x.toml').name\n")
    with pytest.raises(AssertionError, match="Incompatible types"):
        said(tmp_path, python, "-m", "mypy", "--strict", "--follow-imports=silent", told)


@pytest.mark.parametrize("name", ["bent-rolled-rigid", "sweeps/grade-and-joint"])
def test_a_shipped_scenario_can_be_had(installed, tmp_path, name):
    bedsim(installed, tmp_path, "new", "--example", name, "mine.toml")
    loaded = "import bedsim, sys; print(bedsim.load_scenario('mine.toml').scenario.title)"
    if "/" not in name:
        assert said(tmp_path, installed / "bin" / "python", "-c", loaded).strip()
        assert (tmp_path / "mine.toml").read_text() == (ROOT / "scenarios" / f"{name}.toml").read_text()


def test_every_key_is_told_offline(installed, tmp_path):
    told = bedsim(installed, tmp_path, "new", "--keys")
    assert told.strip() == (ROOT / "scenarios" / "README.md").read_text(encoding="utf-8").strip()
    assert "guide.radial_n_per_um" in bedsim(installed, tmp_path, "explain", "guide.radial_n_per_um")


@pytest.mark.parametrize(
    ("words", "offered"),
    [
        (["bedsim", "ru"], "run"),
        (["bedsim", "run", "--engine", "prop"], "propagator"),
        (["bedsim", "run", "--set", "guide.rad"], "guide.radial_n_per_um"),
        (["bedsim", "new", "--example", "bent-rolled-ro"], "bent-rolled-rolling-joints"),
    ],
)
def test_shells_complete(installed, tmp_path, words, offered):
    shell = {"_BEDSIM_COMPLETE": "bash_complete", "COMP_WORDS": " ".join(words)}
    told = bedsim(installed, tmp_path, COMP_CWORD=str(len(words) - 1), **shell)
    assert offered in [line.rpartition(",")[2].rstrip("=") for line in told.splitlines()]


def test_readme_and_pictures_are_there_with_all_that_they_point_at(installed):
    share = installed / "share" / "bedsim"
    text = (share / "README.md").read_text(encoding="utf-8")
    assert text == (ROOT / "README.md").read_text(encoding="utf-8")
    links = re.findall(r"]\((?!https?:|#)([^)]*)\)", text)
    assert len(links) >= 6
    assert not [link for link in links if not (share / link).is_file()]
    assert all((share / link).read_bytes()[:4] == b"\x89PNG" for link in links if link.endswith(".png"))


def test_the_long_description_points_at_nothing_that_is_not_there(installed):
    (metadata,) = installed.rglob("bedsim-*.dist-info/METADATA")
    found = message_from_string(metadata.read_text(encoding="utf-8"))
    assert found["Description-Content-Type"].startswith("text/markdown")
    text = found.get_payload()
    assert text.startswith("# bedsim") and "share/bedsim/results/example.png" in text
    assert not re.findall(r"]\((?!https?:|#)", text)
