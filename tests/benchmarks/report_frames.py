"""How smoothly the report follows its controls: intervals between frames in a real browser, by hand.

    python tests/benchmarks/report_frames.py

A slider is moved at every frame, as a hand does it; told are median and 95 % of the intervals between frames
(ms; 16.7 is every frame of a screen of 60 Hz), at the machine's own speed and slowed four times, and the
processor time of a frame, which holds on a busy machine too: below 16.7 ms the page can keep 60 frames a
second.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent), str(HERE.parent / "report")]

import numpy as np  # noqa: E402
from browser_harness import CHROMIUM, MISSING  # noqa: E402
from browser_pipe import OpenPage  # noqa: E402
from made_up_report import made_up_run  # noqa: E402

from bedsim.cli.main import main  # noqa: E402
from bedsim.results.store import write_run  # noqa: E402

FRAMES = 60
MOVED = """new Promise((done) => {
  const e = document.getElementById(%(id)r), times = [], options = e.options ? e.options.length : 0;
  let k = 0;
  const step = (now) => {
    times.push(now);
    if (times.length > %(frames)d) { done(times.slice(1).map((t, i) => t - times[i])); return; }
    k += 1;
    if (options) e.selectedIndex = k %% options;
    else e.value = Number(e.min) + k %% (Number(e.max) - Number(e.min) + 1);
    e.dispatchEvent(new Event('input'));
    requestAnimationFrame(step);
  };
  requestAnimationFrame(step);
})"""
CASES = (
    ("layer slider", "layer", "0"),
    ("layer slider, 20 mm shown", "layer", "20"),
    ("lamp", "lamp", "0"),
    ("place", "probe", "0"),
    ("wall", "facing", "0"),
)


def busy(page: OpenPage) -> float:
    """Processor time (ms) that the page's main thread has taken: what else runs does not count."""
    told = page.ask("Performance.getMetrics")["metrics"]
    return 1e3 * next(one["value"] for one in told if one["name"] == "TaskDuration")


def frames(page: OpenPage, control: str, span: str, count: int) -> np.ndarray:
    """Intervals (count,) ms while a control is moved at every frame."""
    shown = f"const e = document.getElementById('span'); e.value = '{span}';"
    page.value(f"{{ {shown} e.dispatchEvent(new Event('input')); }}")
    return np.array(page.value(MOVED % {"id": control, "frames": count}))


def measured(layers: int, folder: Path) -> None:
    """Print the lines of one report."""
    write_run(made_up_run(14e-6, layers=layers, title="Frames"), folder / f"{layers}.h5")
    page = folder / f"{layers}.html"
    assert main(["report", str(folder / f"{layers}.h5"), "--no-levers", "--output", str(page)]) == 0
    with OpenPage(page) as opened:
        opened.ask("Performance.enable", timeDomain="threadTicks")
        for slowed in (1, 4):
            opened.ask("Emulation.setCPUThrottlingRate", rate=slowed)
            for words, control, span in CASES:
                before = busy(opened)
                found = frames(opened, control, span, FRAMES)
                taken = (busy(opened) - before) / FRAMES
                print(
                    f"{layers:5d} layers, slowed {slowed}x  {words:<26} {np.median(found):6.1f} "
                    f"{np.quantile(found, 0.95):6.1f} {taken:6.1f}",
                    flush=True,
                )


if __name__ == "__main__":
    if CHROMIUM is None:
        sys.exit(MISSING)
    print("ms: between frames, median and 95 %; processor time of the page per frame")
    with tempfile.TemporaryDirectory() as where:
        for number in (60, 1500):
            measured(number, Path(where))
