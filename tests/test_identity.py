"""Which program this is: worked out once, as long as no file changes."""

import subprocess
import sys

import pytest

from bedsim import identity


@pytest.mark.parametrize("compiled", [True, False])
def test_the_hash_of_the_source_is_kept_where_it_may_be_until_a_file_changes(tmp_path, monkeypatch, compiled):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    package = tmp_path / "package"
    (package / "__pycache__" if compiled else package).mkdir(parents=True)
    (package / "part.py").write_text("x = 1  # a word\n")
    whole = identity._code(package)
    kept = [file.relative_to(tmp_path).parts[:2] for file in tmp_path.rglob("identity*.txt")]
    assert kept == [("package", "__pycache__") if compiled else ("cache", "bedsim")]

    monkeypatch.setattr(identity, "_hash", lambda *_: "anew")
    assert identity._code(package) == whole
    (package / "part.py").write_text("x = 2  # another\n")
    assert identity._code(package) == "anew" == identity._code(package)


def test_the_kernels_are_those_of_numpy_and_scipy_whatever_is_imported_by_then():
    """The library that scipy's algebra hangs on is found without scipy.linalg."""
    ask = "from bedsim.identity import _kernels; import sys; print(_kernels(), 'scipy.linalg' in sys.modules)"
    alone, both = (
        subprocess.run([sys.executable, "-c", first + ask], capture_output=True, text=True, check=True).stdout
        for first in ("", "import scipy.linalg; ")
    )
    assert both.split() == [alone.split()[0], "True"]
