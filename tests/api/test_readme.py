"""The README's Python lines run as they stand."""

import doctest
import shutil
from pathlib import Path

README = Path(__file__).parents[2] / "README.md"


def test_the_readme_does_what_it_says(tmp_path, monkeypatch):
    shutil.copytree(README.parent / "scenarios", tmp_path / "scenarios")
    monkeypatch.chdir(tmp_path)
    found = doctest.testfile(str(README), module_relative=False)
    assert found.attempted >= 10 and not found.failed
