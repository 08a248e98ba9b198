"""The README for places outside of the repository: no pictures and no links that lead nowhere there.

python tests/api/long_description.py      writes bedsim/long_description.md, which the wheel's metadata holds
"""

from __future__ import annotations

import re
import textwrap
from pathlib import Path

ROOT = Path(__file__).parents[2]
FILE = ROOT / "bedsim" / "long_description.md"
PLACE = "share/bedsim"
WHERE = (
    f"*An installed bedsim has this text with its pictures, and all that it points at, in {PLACE} of its "
    "environment: open README.md there.*"
)


def long_description(readme: str) -> str:
    """Pictures become their words, links to files the file's name; addresses and anchors stay."""
    text = re.sub(r"^!\[([^]]*)]\(([^)]*)\)$", _picture, readme, flags=re.M)
    text = re.sub(r"(?<!!)\[([^]]*)]\((?!https?:|#)([^)]*)\)", r"`\2`", text)
    head, _, rest = text.partition("\n\n")
    return f"{head}\n\n{textwrap.fill(WHERE, 110)}\n\n{rest}"


def _picture(found: re.Match[str]) -> str:
    return f"*Picture, {PLACE}/{found[2]}: {found[1]}.*"


if __name__ == "__main__":
    FILE.write_text(long_description((ROOT / "README.md").read_text(encoding="utf-8")), encoding="utf-8")
    print(FILE)
