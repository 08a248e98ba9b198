"""Sweeps as a whole: the same file whoever works, going on after a kill, refusals, early stop."""

import os
import random
import resource
import signal
import socket
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import h5py
import numpy as np
import pytest
from plans import AXES, content, one_thread, write_plan

from bedsim.errors import InputError, ResultFileError
from bedsim.identity import identity
from bedsim.results.sweep_parts import PartStore, only_writer
from bedsim.results.sweep_store import read_sweep
from bedsim.sweep import pool
from bedsim.sweep.answers import wilson
from bedsim.sweep.member import member_again
from bedsim.sweep.plan import load_plan
from bedsim.sweep.run import _left, run_sweep
from bedsim.sweep.tasks import run_task_of

SORTED = """
[[axis]]
name = "screws"
[[axis.choice]]
label = "three as they come"
set = {grade = "C5", buy = 3}
[[axis.choice]]
label = "best of five, clocked"
set = {grade = "C5", buy = 5, clocking = "best"}
"""


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    """A plan, what one process makes of it, and the file."""
    folder = tmp_path_factory.mktemp("reference")
    plan = write_plan(folder)
    return plan, run_sweep(load_plan(plan), folder / "out.h5", pool.here), folder / "out.h5"


@pytest.fixture(scope="module")
def reference(finished):
    """The plan and the content of its file."""
    plan, _, file = finished
    return plan, content(file)


def test_same_content_on_one_process_and_on_two(reference, tmp_path):
    plan, expected = reference
    told = []
    run_sweep(
        load_plan(plan), tmp_path / "out.h5", pool.local(2), lambda done, total: told.append((done, total))
    )
    assert content(tmp_path / "out.h5") == expected
    assert told[0] == (0, 420) and told[-1] == (420, 420) and told == sorted(told)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["out.h5"], "no parts and no lock are left"


def test_what_is_read_back_is_what_was_computed(finished):
    _, made, file = finished
    back = read_sweep(file)
    for a, b in zip(made.cells, back.cells, strict=True):
        for name in ("label", "place", "settings", "group", "probability", "wilson", "print_height"):
            np.testing.assert_array_equal(getattr(a, name), getattr(b, name))
        for name in ("figures", "stopped", "meets", "quantiles", "envelope"):
            np.testing.assert_array_equal(getattr(a, name), getattr(b, name))
    assert (back.axis_names, back.axis_labels) == (
        ("grade", "joint.kind"),
        (("C3", "C5", "C7"), ("rigid", "rolling")),
    )
    assert (back.title, back.notes, back.metrics) == (made.title, made.notes, made.metrics)
    np.testing.assert_array_equal(back.total_order, made.total_order)
    assert back.lateral_target == made.lateral_target == 6e-6


def test_other_tools_can_read_it(finished):
    """xarray over h5netcdf, as for runs."""
    xarray = pytest.importorskip("xarray")
    *_, file = finished
    cells = xarray.open_dataset(file, group="cells", engine="h5netcdf")
    assert cells.quantiles.dims == ("cell", "quantile", "metric")
    members = xarray.open_dataset(file, group="members", engine="h5netcdf")
    assert members.lateral_pv.attrs["units"] == "m" and members.sizes["printer"] == 420
    envelope = xarray.open_dataset(file, group="envelopes/cell_00002", engine="h5netcdf")
    assert envelope.lateral.dims == ("layer", "quantile")
    assert np.all(np.diff(envelope.lateral.values, axis=1) >= 0)


@pytest.mark.kernel
@pytest.mark.parametrize("axes, cell", [(AXES, 3), (SORTED, 1)])
def test_any_printer_again_bit_for_bit(tmp_path, axes, cell):
    plan = load_plan(write_plan(tmp_path, axes))
    result = run_sweep(plan, tmp_path / "out.h5", pool.here)
    for member in (0, 69):
        again = member_again(plan, cell, member)
        assert again.figures.tobytes() == result.cells[cell].figures[member].tobytes()
    with pytest.raises(InputError, match="no printer 70 in cell 0"):
        member_again(plan, 0, 70)
    with pytest.raises(InputError, match="no cell 9"):
        member_again(plan, 9, 0)


def test_sorting_and_clocking_pay_in_lateral_error(tmp_path):
    result = run_sweep(load_plan(write_plan(tmp_path, SORTED)), tmp_path / "out.h5", pool.here)
    plain, better = (np.median(c.figures[:, 0]) for c in result.cells)
    assert better < 0.8 * plain


@pytest.mark.kernel
def test_a_printer_of_a_batch_with_friction_again_bit_for_bit(tmp_path):
    from plans import MACHINE

    small = MACHINE.replace("layers = 40", "layers = 3")
    axis = '[[axis]]\nkey = "grade"\nvalues = ["C3", "C5"]\n'
    plan = load_plan(write_plan(tmp_path, axis, members=3, more='engine = "propagator"', machine=small))
    result = run_sweep(plan, tmp_path / "out.h5", pool.here)
    assert np.all(result.cells[1].figures[:, result.metrics.index("residual_height")] >= 0)
    again = member_again(plan, 1, 2)
    assert again.figures.tobytes() == result.cells[1].figures[2].tobytes()


# ---- going on -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("kills", [1, pytest.param(4, marks=pytest.mark.long)])
def test_killed_at_random_moments_it_goes_on_and_ends_with_the_same_content(reference, tmp_path, kills):
    """The command in its own process, killed with all it holds; then once to the end."""
    plan, expected = reference
    target = tmp_path / "out.h5"
    words = [
        sys.executable,
        "-m",
        "bedsim",
        "sweep",
        str(plan),
        "--output",
        str(target),
        "--workers",
        "1",
        "--no-pictures",
    ]
    rng, started = random.Random(4), time.monotonic()
    for _ in range(kills):
        process = subprocess.Popen(
            words, env=one_thread(), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        time.sleep(rng.uniform(1.5, 4.5))
        children = children_of(process.pid)
        process.send_signal(signal.SIGKILL)
        process.wait()
        assert_gone(children)
        assert not target.exists() or content(target) == expected
        if target.exists() or time.monotonic() - started > 25:
            break
    done = subprocess.run(words, env=one_thread(), capture_output=True, text=True)
    assert done.returncode in (0, 1), done.stderr
    assert content(target) == expected
    assert sorted(p.name for p in tmp_path.iterdir()) == ["out.h5"]


def children_of(pid: int) -> list[int]:
    listed = Path(f"/proc/{pid}/task/{pid}/children")
    return [int(word) for word in listed.read_text().split()] if listed.exists() else []


def assert_gone(pids: list[int]) -> None:
    """Workers end with their parent."""
    until = time.monotonic() + 10
    while any(is_running(p) for p in pids):
        assert time.monotonic() < until, "a worker outlived its parent"
        time.sleep(0.05)


def is_running(pid: int) -> bool:
    try:
        return ") Z " not in Path(f"/proc/{pid}/stat").read_text()
    except OSError:
        return False


def test_finished_cells_are_not_done_again(reference, tmp_path):
    plan, expected = reference
    loaded, target = load_plan(plan), tmp_path / "out.h5"

    def breaks_down(tasks):
        yield from list(pool.here(tasks))[:1]
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_sweep(loaded, target, breaks_down)
    store = PartStore(target=target, fingerprint=loaded.fingerprint, program=str(identity()))
    kept = {key[0] for key in store.finished()}
    assert kept and not target.exists()
    seen = []

    def noting(tasks):
        seen.extend(cell.index for task in tasks for cell in task.cells)
        return pool.here(tasks)

    run_sweep(loaded, target, noting)
    assert sorted([*kept, *seen]) == list(range(6))
    assert content(target) == expected
    seen.clear()
    assert run_sweep(loaded, target, noting).fingerprint == loaded.fingerprint
    assert not seen, "a finished sweep is read, not done again"


def half_done(loaded, target, program=None):
    """Parts of a sweep that was interrupted, made by this program or said to be by another."""

    def breaks_down(tasks):
        yield from list(pool.here(tasks))[:1]
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_sweep(loaded, target, breaks_down)
    folder = PartStore(target=target, fingerprint="", program="").folder
    parts = sorted(folder.glob("cell-*.h5"))
    for part in parts if program else []:
        with h5py.File(part, "a") as file:
            file.attrs["program"] = program
    return parts


def test_parts_of_another_program_are_kept_aside_and_told(reference, tmp_path):
    plan, expected = reference
    loaded, target = load_plan(plan), tmp_path / "out.h5"
    parts = half_done(loaded, target, program="code 0 numpy 1 scipy 1 kernels none")
    before, told = {p.name: p.read_bytes() for p in parts}, []
    run_sweep(loaded, target, pool.here, remark=told.append)
    assert content(target) == expected
    (text,) = told
    assert text.startswith("Finished parts that another program made are not mixed in: kept in ")
    aside = Path(text.rpartition("kept in ")[2].rstrip("."))
    assert {p.name: p.read_bytes() for p in aside.iterdir()} == before


def test_a_damaged_part_is_computed_again(reference, tmp_path):
    plan, expected = reference
    loaded, target = load_plan(plan), tmp_path / "out.h5"
    for part in half_done(loaded, target):
        data = part.read_bytes()
        part.write_bytes(data[:900] + bytes([data[900] ^ 1]) + data[901:])
    run_sweep(loaded, target, pool.here)
    assert content(target) == expected


def test_a_result_of_another_program_is_not_taken_for_ours(reference, tmp_path):
    plan, _ = reference
    loaded, target = load_plan(plan), tmp_path / "out.h5"
    run_sweep(loaded, target, pool.here)
    with h5py.File(target, "a") as file:
        file.attrs["program"] = "code 0"
    with pytest.raises(ResultFileError, match=r"by another program \(code 0; this is"):
        run_sweep(loaded, target, pool.here)


def test_a_worker_that_is_another_program_is_refused_by_name(reference):
    loaded = load_plan(reference[0])
    (task, *_) = _left(loaded, loaded.cells, 0, loaded.file.members, {})
    with pytest.raises(InputError, match=f"{socket.gethostname()} is another program: numpy 0 here"):
        run_task_of(replace(identity(), numpy="0"), task)


def test_a_killed_worker_costs_nothing(reference, tmp_path):
    plan, expected = reference
    killed = []

    def kill_one(done, total):
        if not killed and done:
            killed.append(children_of(os.getpid())[-1])
            os.kill(killed[0], signal.SIGKILL)

    run_sweep(load_plan(plan), tmp_path / "out.h5", pool.local(1), kill_one)
    assert killed and content(tmp_path / "out.h5") == expected


# ---- refusals -----------------------------------------------------------------------------------------


def test_a_changed_plan_on_an_old_file_is_refused(reference, tmp_path):
    plan, expected = reference
    target = tmp_path / "out.h5"
    run_sweep(load_plan(plan), target, pool.here)
    (tmp_path / "other").mkdir()
    changed = load_plan(write_plan(tmp_path / "other", members=71))
    with pytest.raises(ResultFileError, match=r"out\.h5: holds a sweep of another plan"):
        run_sweep(changed, target, pool.here)
    assert content(target) == expected


def test_parts_of_another_plan_are_refused_and_kept(reference, tmp_path):
    plan, _ = reference
    target = tmp_path / "out.h5"

    def one(tasks):
        yield next(iter(pool.here(tasks)))
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_sweep(load_plan(plan), target, one)
    (tmp_path / "other").mkdir()
    before = sorted((tmp_path / ".out.h5.parts").iterdir())
    with pytest.raises(ResultFileError, match="finished cells of another plan"):
        run_sweep(load_plan(write_plan(tmp_path / "other", members=71)), target, pool.here)
    assert before and sorted((tmp_path / ".out.h5.parts").iterdir()) == before


def test_a_file_of_another_kind_is_refused(reference, tmp_path):
    plan, _ = reference
    (tmp_path / "out.h5").write_text("my notes")
    with pytest.raises(ResultFileError, match="not a bedsim result file"):
        run_sweep(load_plan(plan), tmp_path / "out.h5", pool.here)
    assert (tmp_path / "out.h5").read_text() == "my notes"


def test_a_second_writer_is_refused(reference, tmp_path):
    plan, _ = reference
    with (
        only_writer(tmp_path / "out.h5"),
        pytest.raises(ResultFileError, match="another sweep is writing it"),
    ):
        run_sweep(load_plan(plan), tmp_path / "out.h5", pool.here)
    run_sweep(load_plan(plan), tmp_path / "out.h5", pool.here)


def test_a_full_disk_is_told_and_loses_nothing(reference, tmp_path):
    """The limit on file size of the process stands in for the disk."""
    plan, expected = reference
    loaded, target = load_plan(plan), tmp_path / "out.h5"
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)

    def fills(done, total):
        if done:
            resource.setrlimit(resource.RLIMIT_FSIZE, (4_000, hard))

    with pytest.raises(ResultFileError, match=r"(?s)cannot be written.*finished before is kept"):
        try:
            run_sweep(loaded, target, pool.here, fills)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    kept = PartStore(target=target, fingerprint=loaded.fingerprint, program=str(identity())).finished()
    assert kept and not target.exists()
    run_sweep(loaded, target, pool.here)
    assert content(target) == expected


# ---- early stop ---------------------------------------------------------------------------------------


def test_stops_when_sure_enough_and_goes_on_where_it_is_not(tmp_path):
    """The same printers as without stopping, in whole steps, until the interval is narrow enough."""
    text = (
        "[stop]\ninterval_below = 0.15\nstep = 64\n"
        + '[[axis]]\nkey = "grade"\nvalues = ["C1", "C5", "C10"]\n'
    )
    plan = load_plan(write_plan(tmp_path, text, members=300))
    result = run_sweep(plan, tmp_path / "out.h5", pool.here)
    counts = [c.members for c in result.cells]
    assert min(counts) == 64 and max(counts) > 64, counts
    for cell in result.cells:
        low, high = wilson(cell.meets.sum(), cell.members, 0.95)
        assert high - low <= 0.15 or cell.members == 300
        if cell.members > 64:
            before = cell.meets[: (cell.members - 1) // 64 * 64]
            low, high = wilson(before.sum(), before.size, 0.95)
            assert high - low > 0.15
    run_sweep(plan, tmp_path / "two.h5", pool.local(2))
    assert content(tmp_path / "two.h5") == content(tmp_path / "out.h5")
