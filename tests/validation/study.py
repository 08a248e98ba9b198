"""The measured coverage of learn, from the file that tests/learn/by_hand.py writes."""

from __future__ import annotations

import json
import sys
from html import escape
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
FEW = 30
"""Machines of a kind below which a share says little: 0.9 of thirty is sure to a tenth (2 sigma)."""

NOT_MEASURED = (
    "<p>Not measured for this page. By hand, hours: python tests/learn/by_hand.py study.json; hand the file "
    "over with --learn study.json.</p>"
)


def read_study(path: Path) -> list[dict[str, Any]]:
    """Machines of a study.  Raises ValueError with one sentence."""
    try:
        rows = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as fault:
        raise ValueError(f"--learn {path}: cannot be read: {fault}") from None
    needed = {"kind", "way", "seed", "gauged", "read"}
    if not isinstance(rows, list) or not all(isinstance(r, dict) and needed <= set(r) for r in rows):
        raise ValueError(f"--learn {path}: must be the file that tests/learn/by_hand.py writes.")
    return rows


def study_section(rows: list[dict[str, Any]] | None) -> str:
    """How often what was learnt held, per reading, screws and kind."""
    if not rows:
        return NOT_MEASURED
    sys.path.insert(0, str(ROOT / "tests" / "learn"))
    from by_hand import lines

    fewest = min(sum(r["kind"] == kind for r in rows) for kind in {r["kind"] for r in rows})
    told = (
        "<p>Invented machines, read with friction, noise and planted faults. Shares of machines whose true "
        "value lies between the 5 % and 95 % of what was learnt (0.90 is right), of right answers to which "
        "screw it is, and of faults found where none was planted.</p>"
    )
    if fewest < FEW:
        told += f"<p><b>{fewest} machines of a kind at least: too few for shares to say much.</b></p>"
    text = escape("\n".join(lines(rows)))
    return f'{told}<pre class="scroll" tabindex="0" aria-label="Coverage of learn">{text}</pre>'
