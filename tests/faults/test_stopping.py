"""Commands that are told to stop: at once, with a sentence, and nothing finished is lost."""

import contextlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from bedsim.identity import meaning

ROOT = Path(__file__).parents[2]
PLAN = """title = "long"
scenario = "machine.toml"
members = 40
engine = "propagator"
seed = 1
[target]
lateral_pv_um = 5
[[axis]]
key = "joint.kind"
values = ["rigid", "rolling"]
[lot]
grade = "C5"
"""


def hearing():
    """A command that was begun in the background of a script ignores Ctrl-C, as it should; these do not."""
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.SIG_DFL)


def begun(tmp_path, *words):
    """A command in a group of processes of its own, as a shell begins it."""
    return subprocess.Popen(
        [sys.executable, "-m", "bedsim", *words],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=hearing,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )


@pytest.fixture
def plan(tmp_path):
    machine = (ROOT / "scenarios" / "bent-rolled-rigid.toml").read_text("utf-8")
    (tmp_path / "machine.toml").write_text(machine.replace("layers = 60", "layers = 400"), "utf-8")
    (tmp_path / "plan.toml").write_text(PLAN, "utf-8")
    return tmp_path / "plan.toml"


def alive(group):
    """Processes of a group that still run; one that nobody has waited for yet does not."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        with contextlib.suppress(OSError):
            state, _, its_group = stat.read_text().rpartition(") ")[2].split()[:3]
            if int(its_group) == group and state != "Z":
                found.append((stat.parent / "cmdline").read_text())
    return found


@pytest.mark.parametrize(
    ("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143), (signal.SIGHUP, 129)]
)
def test_a_sweep_ends_with_its_workers_and_says_how_to_go_on(tmp_path, plan, number, code):
    process = begun(tmp_path, "sweep", str(plan), "--workers", "2")
    until = time.monotonic() + 60
    while not list(tmp_path.rglob("*.lock")) and time.monotonic() < until:
        time.sleep(0.1)  # the plan is being read
    time.sleep(2)
    assert process.poll() is None, process.communicate()
    os.killpg(process.pid, number)  # as a terminal tells all of them
    begin = time.monotonic()
    out, err = process.communicate(timeout=20)
    assert process.returncode == code
    assert time.monotonic() - begin < 6  # two seconds on a quiet machine
    assert "Finished parts are kept: give the same command again to go on." in err
    assert err.strip().endswith("bedsim: interrupted.")
    assert "Traceback" not in out + err
    time.sleep(0.5)
    assert not alive(process.pid)


def test_a_run_ends_at_once_and_leaves_nothing(tmp_path, plan):
    more = ["--set", "print.layers=18000", "--set", "print.layer_mm=0.01"]
    process = begun(tmp_path, "run", str(tmp_path / "machine.toml"), *more)
    time.sleep(4)
    os.killpg(process.pid, signal.SIGINT)
    _, err = process.communicate(timeout=20)
    assert (process.returncode, err.strip()) == (130, "bedsim: interrupted.")
    assert not list((tmp_path / "results").glob("*"))


DEAF = """
import multiprocessing, signal, time
from bedsim.background import deaf_children

if __name__ == "__main__":
    with deaf_children():
        first = multiprocessing.get_context("spawn").Process(target=time.sleep, args=(0,))
        first.start()
        print(*sorted(n.name for n in signal.pthread_sigmask(signal.SIG_BLOCK, ())))
    first.join()
    print(len(signal.pthread_sigmask(signal.SIG_BLOCK, ())))
"""


def test_the_first_process_of_all_is_born_deaf_too():
    """With it Python starts a process of its own, which had its parent hear again: a Ctrl-C in the first
    second of a sweep showed a worker's traceback."""
    found = subprocess.run(
        [sys.executable, "-c", DEAF],
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )
    assert found.stdout.split() == ["SIGHUP", "SIGINT", "SIGTERM", "0"], found.stderr


IGNORANT = """
import os, signal, time
from bedsim.cli.endings import StoppedError, stoppable

class Dying:
    def __del__(self):
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(0.01)

try:
    with stoppable():
        Dying()
        time.sleep(10)
except StoppedError as stopped:
    print("stopped by", stopped.number)
"""


def test_a_signal_in_a_finaliser_which_ignores_exceptions_stops_all_the_same():
    found = subprocess.run(
        [sys.executable, "-c", IGNORANT],
        capture_output=True,
        text=True,
        timeout=30,
        preexec_fn=hearing,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )
    assert (found.stdout, found.stderr) == ("stopped by 2\n", "")


def test_comments_docstrings_and_lines_say_nothing_and_code_does():
    source = 'def f(x):\n    """Says."""\n    y = ("a"\n         "b")  # why\n    return x + 1\n'
    same = 'def f(x):\n\n    "Other words."\n    y = ("a" "b")\n    return x + 1\n'
    assert meaning(source) == meaning(same)
    assert meaning(source) != meaning(source.replace("x + 1", "x + 2"))
    assert meaning(source) != meaning(source.replace('"b"', '"c"'))
