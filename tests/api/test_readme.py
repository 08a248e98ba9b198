"""The README's Python lines run as they stand."""

import doctest
import shutil

from long_description import FILE, ROOT, long_description

README = ROOT / "README.md"


def test_the_readme_does_what_it_says(tmp_path, monkeypatch):
    shutil.copytree(README.parent / "scenarios", tmp_path / "scenarios")
    monkeypatch.chdir(tmp_path)
    found = doctest.testfile(str(README), module_relative=False)
    assert found.attempted >= 10 and not found.failed


def test_the_long_description_is_that_of_the_readme():
    made = long_description((ROOT / "README.md").read_text(encoding="utf-8"))
    assert FILE.read_text(encoding="utf-8") == made, "run python tests/api/long_description.py"
