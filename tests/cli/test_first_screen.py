"""What a user sees first, and pictures in more formats."""

from pathlib import Path

import pytest

from bedsim.cli.main import main

RIGID = str(Path(__file__).parents[2] / "scenarios" / "bent-rolled-rigid.toml")
QUICK = ("--set", "print.layers=12", "--engine", "equilibrium")


def test_the_first_screen_of_run_fits_thirty_lines_of_eighty_letters(tmp_path, capsys, monkeypatch):
    """What matters stands before the details: answer, walls, causes, what to measure, cautions."""
    monkeypatch.setattr("bedsim.cli.text.line_width", lambda: 80)
    output = str(tmp_path / "r.h5")
    assert main(["run", RIGID, *QUICK, "--no-pictures", "--output", output]) == 0
    first, _, rest = capsys.readouterr().out.partition("\nIn detail:\n")
    assert len(first.splitlines()) <= 28  # magnets' caution takes two more
    assert all(len(line) <= 80 for line in first.splitlines())
    for part in (
        "The bed strays",
        "Wall ",
        "What each cause",
        "What to measure next",
        "Mains voltage",
        "fall",
    ):
        assert part in first
    assert "Per corner:" in rest


@pytest.mark.long
def test_pictures_are_saved_in_the_formats_asked_for(tmp_path):
    output = str(tmp_path / "r.h5")
    asked = ["--also", "svg", "--also", "pdf", "run", RIGID, *QUICK, "--no-ranges", "--output", output]
    assert main(asked) == 0
    assert (tmp_path / "r_errors.svg").read_text(encoding="utf-8").startswith("<?xml")
    assert (tmp_path / "r_errors.pdf").read_bytes().startswith(b"%PDF")
    assert (tmp_path / "r_errors.png").exists()
    assert main(["run", RIGID, *QUICK, "--no-ranges", "--output", str(tmp_path / "s.h5")]) == 0
    assert not (tmp_path / "s_errors.svg").exists()
