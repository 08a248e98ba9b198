"""A disk without room, made by a limit on the size of files: one sentence, and nothing half written."""

import os
import subprocess
import sys

import bases
import pytest

from bedsim.results.store import write_run
from bedsim.scenario.load import load_scenario
from bedsim.simulation import simulate

resource = pytest.importorskip("resource")
SCRIPT = """import resource, signal, sys
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[1]), int(sys.argv[1])))
from bedsim.cli.main import main
sys.exit(main(sys.argv[2:]))
"""
QUICK = ("--engine", "equilibrium", "--no-ranges")
COMMANDS = {
    "run": (2000, "run", "machine.toml", "--no-pictures", *QUICK, "--output", "new.h5"),
    "pictures": (2000, "size", "machine.toml", "--output", "new.png"),
    "page": (2000, "report", "whole.h5", "--no-levers", "--output", "new.html"),
    "readings": (50, "gauge", "g.csv", "--output", "."),
    "blank": (20, "gauge", "--blank", "cord", "new.csv"),
    "scenario": (200, "new", "new.toml", "--defaults"),
    "sweep": (2000, "sweep", "plan.toml", "--workers", "1", "--no-pictures", "--output", "new.h5"),
    "compare": (2000, "compare", "machine.toml", "--vary", "bed.mass_kg=2,3", *QUICK, "--output", "."),
}


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    folder = tmp_path_factory.mktemp("whole")
    (folder / "machine.toml").write_text(bases.SCENARIO)
    write_run(simulate(load_scenario(folder / "machine.toml"), "equilibrium"), folder / "whole.h5")
    return (folder / "whole.h5").read_bytes()


@pytest.mark.parametrize("name", COMMANDS)
def test_no_room_is_one_sentence_and_leaves_nothing(tmp_path, whole, name):
    sound = {
        "machine.toml": bases.SCENARIO,
        "plan.toml": bases.PLAN,
        "lot.csv": bases.LOT,
        "g.csv": bases.RUN_OUT,
    }
    for file, text in sound.items():
        (tmp_path / file).write_text(text)
    (tmp_path / "whole.h5").write_bytes(whole)
    room, *words = COMMANDS[name]
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, str(room), *words],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONPATH": str(bases.ROOT), "MPLCONFIGDIR": str(tmp_path / "mpl")},
    )
    assert done.returncode == 2, done.stderr
    (said,) = [line for line in done.stderr.splitlines() if "cannot be written" in line]
    assert "File too large" in said and "Traceback" not in done.stderr
    left = {p.name for p in tmp_path.rglob("*") if p.is_file() and "mpl" not in p.parts}
    assert left == {*sound, "whole.h5"}
