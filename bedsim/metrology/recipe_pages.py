"""Recipes, blank tables and invented examples of readings that people take with what lies about."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class TestSheet:
    """One kind of readings: how they are taken, top and rows of a blank table, an invented example."""

    recipe: str
    head: str
    rows: tuple[str, ...]
    example: tuple[str, ...]

    @property
    def blank(self) -> str:
        """The table to fill in."""
        return self.head + "\n".join(self.rows) + "\n"

    @property
    def filled(self) -> str:
        """The example as a file."""
        return self.head + "\n".join(self.example) + "\n"


_ROLLED = """\
# A screw rolled on a plate: bow by feeler gauges

The cheapest way to see a bent screw: a flat plate and a set of feeler gauges. It shows the bow,
never the eccentricity against the bearings.

You need: a granite plate, the glass of a shelf or the table of a machine, flat to 0.01 mm; a set
of feeler gauges; a felt pen.

1. Clean plate and screw; nut off. Lay the screw down so that both ends of the thread touch.
2. Roll it slowly. Where the gap under its middle is largest the bow points up. Put a mark on top.
3. At five places write the thickest blade that just slides under (`go_um`) and the next one that
   does not (`no_go_um`); stacks of blades count with their sum. Not even the thinnest: `go_um` = 0.
   Do not press: the screw gives way. Position counts from the lower end of the free length.
4. Roll by half a turn: now it must rock on its middle. If it stays, the plate is bent, not the
   screw.
5. With the screw in the machine at its clocking zero, where does the mark face? `mark_deg`,
   counter-clockwise from +X seen from above. Without it only the size of the bow is known.

A screw on a plate sags by its own weight: with `diameter_mm` that is added (16 mm, 420 mm long:
about 0.01 mm). TIR is twice the gap. Thousandths of an inch: `go_thou`, `no_go_thou`.
"""

_ROLLED_HEAD = """\
# test = rolled
# length_mm = 400          # free length between the bearings, or from the bearing to the free end
# ends = both              # in the machine: both (held at both ends) or one (upper end free)
# diameter_mm = 12         # nominal; for the sag by its own weight
# touches_mm = 0, 400      # where the screw touches the plate
# mark_deg = 0             # where the mark on top faces in the machine; delete the line if not known
# plate_um = 5             # standard uncertainty of plate and crests
position_mm,go_um,no_go_um
"""

PAGES = {
    "rolled": TestSheet(
        recipe=_ROLLED,
        head=_ROLLED_HEAD,
        rows=tuple(f"{s},," for s in (80, 140, 200, 260, 320)),
        example=("80,40,50", "140,60,70", "200,70,80", "260,60,70", "320,30,40"),
    ),
}
