"""The example client runs, and passes mypy --strict (by hand also against an installed wheel)."""

import subprocess
import sys
from pathlib import Path

import pytest
from client import main

CLIENT = Path(__file__).with_name("client.py")


@pytest.mark.long
def test_the_client_runs(files):
    first, other = main(files)
    assert first > other > 0


@pytest.mark.long
def test_the_client_passes_strict_types(tmp_path):
    pytest.importorskip("mypy")
    words = [sys.executable, "-m", "mypy", "--strict", "--follow-imports=silent", str(CLIENT)]
    done = subprocess.run(words, capture_output=True, text=True, cwd=tmp_path, check=False)
    assert done.returncode == 0, done.stdout
