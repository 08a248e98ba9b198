"""What was checked, as one page that needs nothing beside it."""

from __future__ import annotations

import base64
import io
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from html import escape
from pathlib import Path
from typing import Any

import numpy as np
from credibility import FACTORS
from matplotlib.figure import Figure
from recorder import Check, Compared, Recorder, parts
from study import study_section

ROOT = Path(__file__).parents[2]
HOLE = (
    "Not validated: the sideways tug of war itself. No published measurement of it was found: a bed pushed "
    "sideways by a bent screw through nut, joint and guide. What stands below checks its parts, its "
    "equations and its numbers, not that a real machine does so. The experiment that would: "
    "bedsim learn --recipe tug, with blank table and evaluation."
)
POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"
STYLE = """
body { margin: 0 auto; max-width: 74rem; padding: 0 1rem 3rem; font: 1rem/1.45 system-ui, sans-serif;
  background: #fff; color: #222; }
table { border-collapse: collapse; font-size: .86rem; } caption { text-align: left; font-weight: 600; }
th, td { border-bottom: 1px solid #ccc; padding: .3rem .7rem .3rem 0; text-align: left; vertical-align: top; }
.hole { border-left: 6px solid #8a3b00; background: #fbeee3; padding: .6rem 1rem; font-size: 1.1rem; }
.failed { background: #fbdcdc; font-weight: 600; } .scroll { overflow-x: auto; } img { max-width: 100%; }
h2 { border-top: 3px solid #0b5a7a; padding-top: .5rem; margin-top: 2.4rem; }
@media (prefers-color-scheme: dark) { body { background: #191b1c; color: #e9e5dd; }
  .hole { background: #33261c; } .failed { background: #5a1f1f; } td, th { border-color: #444; }
  img { background: #fff; } }
"""


def page(found: Recorder, commit: str, versions: str, study: list[dict[str, Any]] | None) -> str:
    """The page of all checks that a recorder holds; `study`: machines of the measured coverage of learn."""
    checks = list(found.checks.values())
    outside = [c for c in checks if c.folder != "agreement"]
    failed = [c for c in checks if c.outcome == "failed"]
    ran = (
        f"{len(checks)} checks, {len(failed) + len(found.broken)} failed, {_count(checks, 'skipped')} not run"
    )
    parts = [
        ("What it is for, and what it leaves out", _limits()),
        ("Failed", _failed(failed, found.broken)),
        ("Credibility", _credibility()),
        ("Checks by what they rest on", _tally(outside)),
        ("Every comparison with the outside", _comparisons(outside)),
        ("Independent models", _statements([c for c in checks if c.folder == "independent"])),
        ("Everything else that was asserted", _statements([c for c in outside if c.folder != "independent"])),
        ("Convergence of the engines", _orders(checks)),
        ("Coverage of learn", study_section(study)),
    ]
    body = "\n".join(f"<section><h2>{escape(t)}</h2>\n{text}</section>" for t, text in parts)
    return f"""<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{POLICY}">
<link rel="icon" href="data:,"><title>bedsim: what was checked</title><style>{STYLE}</style></head>
<body><h1>bedsim: what was checked against the outside</h1>
<p>Commit {escape(commit)}. {escape(versions)}. {escape(ran)}.</p>
<p class="hole">{escape(HOLE)}</p>
<main>{body}</main></body></html>
"""


def _count(checks: Iterable[Check], outcome: str) -> int:
    return sum(c.outcome == outcome for c in checks)


def _table(caption: str, head: Sequence[str], rows: Iterable[tuple[str, Sequence[str]]]) -> str:
    """Rows with their class."""
    top = "".join(f'<th scope="col">{escape(h)}</th>' for h in head)
    body = "\n".join(
        f'<tr class="{kind}">' + "".join(f"<td>{escape(cell)}</td>" for cell in cells) + "</tr>"
        for kind, cells in rows
    )
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{escape(caption, quote=True)}"><table>'
        f"<caption>{escape(caption)}</caption><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def _limits() -> str:
    """The README's own words."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    use = text.partition("# bedsim\n")[2].partition("## ")[0]
    out = text.partition("## What the model leaves out\n")[2].partition("## ")[0]
    return "".join(
        f"<p>{escape(' '.join(p.split()))}</p>" for t in (use, out) for p in t.split("\n\n") if p.strip()
    )


def _failed(failed: Sequence[Check], broken: Sequence[tuple[str, str]]) -> str:
    if not failed and not broken:
        return "<p>No check failed.</p>"
    rows = [("failed", (c.file, c.name, c.says, c.why)) for c in failed]
    rows += [("failed", (name, "could not be read", "", why)) for name, why in broken]
    return _table("Checks that failed", ("file", "check", "says", "why"), rows)


def _credibility() -> str:
    rows = []
    for f in FACTORS:
        missing = [e for e in f.evidence if not (ROOT / e).exists()]
        assert not missing, f"{f.name}: no such evidence: {missing}"
        rows.append(("", (f.name, f"{f.level} of 4", f.why, ", ".join(f.evidence) or "none")))
    told = "<p>In the form of NASA-STD-7009, known from summaries and from memory; levels are our own.</p>"
    return told + _table("Factors of credibility", ("factor", "level", "why", "evidence"), rows)


def _tally(checks: Sequence[Check]) -> str:
    kinds = dict.fromkeys(c.status for c in checks)
    rows = [
        (
            "",
            (
                kind,
                str(sum(c.status == kind for c in checks)),
                str(_count([c for c in checks if c.status == kind], "passed")),
            ),
        )
        for kind in kinds
    ]
    return _table("Checks", ("rests on", "checks", "passed"), rows)


def _verdict(check: Check, share: float, unknown: Sequence[str]) -> str:
    if check.outcome == "failed":
        return "FAILED"
    told = "within 2 u_val" if share <= 2 else "beyond 2 u_val"
    return told + (f" of the known parts; unknown: {', '.join(unknown)}" if unknown else "")


def _number(value: float | None) -> str:
    return "unknown" if value is None else f"{value:.3g}"


def _comparison(check: Check, one: Compared, place: int) -> tuple[str, ...]:
    """Cells of a row."""
    found = parts(one, check, place)
    u = found.u_val
    rounding = 1e-12 * max(abs(one.ours), abs(one.theirs))
    share = abs(one.error) / u if u > 0 else (0.0 if abs(one.error) <= rounding else np.inf)
    numbers = [f"{x:.5g}" for x in (one.ours, one.theirs, one.error)]
    shares = [_number(x) for x in (found.num, found.inputs, found.data, u)]
    told = "endless" if np.isinf(share) else f"{share:.2g}"
    verdict = _verdict(check, share, found.unknown)
    return (check.says, check.status, check.source, *numbers, *shares, told, verdict, found.basis, check.file)


HEAD = (
    *("quantity", "status", "source", "S (ours)", "D (theirs)", "E = S - D", "u_num", "u_input", "u_D"),
    *("u_val", "|E|/u_val", "verdict", "where the parts are from", "test"),
)
FORM = (
    "<p>In the form of ASME V&amp;V 20, known from summaries and from memory: u_val&#178; = u_num&#178; + "
    "u_input&#178; + u_D&#178;, all standard uncertainties in the test's units. u_input: a test states it, "
    "by finite differences from the digits in which its inputs were printed (half a unit of the last, "
    "rectangular) or from what the source says of them; it is 0 where the same numbers stand on both sides, "
    "with the reason beside it; elsewhere it is unknown, as for examples that were recalled with their "
    "inputs. u_D: printed digits or the reading of a graph as the test states them, else what the test "
    "allows over the root of 3. u_num: 0 for a closed formula against a value that was read, what the test "
    "allows over the root of 3 where both sides were computed. A check that passes by its own tolerance "
    "alone is always within 2 u_val; where digits are stated it need not be.</p>"
)


def _comparisons(checks: Sequence[Check]) -> str:
    rows = [
        ("failed" if c.outcome == "failed" else "", _comparison(c, one, place))
        for c in checks
        for place, one in enumerate(c.compared)
    ]
    rows += [
        (
            "failed" if c.outcome == "failed" else "",
            (c.says, c.status, c.source, *[""] * 8, c.outcome, "", c.file),
        )
        for c in checks
        if not c.compared and not c.held
    ]
    return FORM + _sums(checks) + _table("E = S - D of every comparison", HEAD, rows)


def _sums(checks: Sequence[Check]) -> str:
    """How many comparisons have all three parts, and how many lie beyond two of their u_val."""
    rows = []
    for kind in dict.fromkeys(c.status for c in checks):
        cells = [
            _comparison(c, one, k) for c in checks if c.status == kind for k, one in enumerate(c.compared)
        ]
        unknown = sum("unknown" in cell[11] for cell in cells)
        beyond = sum(cell[11].startswith("beyond") for cell in cells)
        rows.append(("", (kind, str(len(cells)), str(len(cells) - unknown), str(unknown), str(beyond))))
    head = ("rests on", "comparisons", "all three parts known", "a part unknown", "beyond 2 u_val")
    return _table("Parts of u_val", head, rows)


def _statements(checks: Sequence[Check]) -> str:
    rows = [
        ("failed" if c.outcome == "failed" else "", (c.says, c.source, statement, found[:160], c.file))
        for c in checks
        for statement, found in c.held
    ]
    rows += [("failed", (c.says, c.source, "", c.why, c.file)) for c in checks if c.outcome == "failed"]
    return _table("Statements that held", ("check", "against", "statement", "found", "test"), rows)


def _orders(checks: Sequence[Check]) -> str:
    """One picture per engine: what its error falls with differs."""
    runs = [(c, c.properties["convergence"]) for c in checks if "convergence" in c.properties]
    if not runs:
        return "<p>Not run.</p>"
    engines = list(dict.fromkeys(run["engine"] for _, run in runs))
    figure = Figure(figsize=(4 * len(engines), 4), layout="constrained")
    panels = dict(zip(engines, figure.subplots(1, len(engines), squeeze=False)[0], strict=True))
    rows = []
    for number, (check, run) in enumerate(runs):
        steps, off = np.array(run["steps"], float), np.array(run["off_um"], float)
        name = check.name.removeprefix("test_").replace("_", " ")
        orders = np.diff(np.log(off)) / np.diff(np.log(steps))
        axes = panels[run["engine"]]
        axes.loglog(steps, off, marker="osD^v<>"[number % 7], label=textwrap.fill(name, 34))
        axes.set_xlabel(run["along"])
        told = (run["engine"], name, run["along"], *(_few(x) for x in (steps, off)))
        rows.append(("", (*told, ", ".join(f"{p:.1f}" for p in orders))))
    for engine, axes in panels.items():
        axes.set_title(engine)
        axes.set_ylabel("largest error against the finest (um)")
        ticks = sorted({step for line in axes.lines for step in line.get_xdata()})
        axes.set_xticks(ticks, [f"{t:.2g}" for t in ticks], fontsize=8)
        axes.minorticks_off()
        axes.grid(True, alpha=0.3)
        axes.legend(fontsize=7, loc="upper left")
        axes.margins(y=0.35)
    data = io.BytesIO()
    figure.savefig(data, format="png", dpi=130)
    png = base64.b64encode(data.getvalue()).decode("ascii")
    head = ("engine", "experiment", "falls with", "at", "errors, um", "observed orders")
    return (
        f'<img alt="Error against step or tolerance, logarithmic" src="data:image/png;base64,{png}">'
        + _table("Observed orders", head, rows)
    )


def _few(values: Iterable[float]) -> str:
    return ", ".join(f"{x:.2g}" for x in values)


def lines(found: Recorder) -> Iterator[str]:
    """What the command prints."""
    checks = list(found.checks.values())
    for folder in dict.fromkeys(c.folder for c in checks):
        some = [c for c in checks if c.folder == folder]
        numbers = sum(len(c.compared) for c in some)
        yield f"{folder}: {len(some)} checks, {_count(some, 'failed')} failed, {numbers} comparisons"
    yield from (f"FAILED {c.file}: {c.name}: {c.why}" for c in checks if c.outcome == "failed")
    yield from (f"FAILED {name}: {why}" for name, why in found.broken)
