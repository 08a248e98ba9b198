"""Recipes, blank tables and invented examples of readings that people take with what lies about."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class TestSheet:
    """One kind of readings: how they are taken, top and rows of a blank table, an invented example."""

    recipe: str
    head: str
    rows: tuple[str, ...]
    example: Callable[[], Iterable[str]]

    @property
    def blank(self) -> str:
        """The table to fill in."""
        return self.head + "\n".join(self.rows) + "\n"

    @property
    def filled(self) -> str:
        """The example as a file."""
        return self.head + "\n".join(self.example()) + "\n"


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

_LOG = """\
# A gauge that writes by itself while the bed is jogged

As the jog test (`--recipe jog`), with a dial gauge that has a cable: many turns at once, so that
drift and what is not of the screws average out.

You need: a digital dial gauge with output (0.001 mm), a stand, ten minutes a series.

1. As in the jog test: motors powered and holding, the gauge on the frame against the bed's edge at
   one of the scenario's probes, plunger along X, Y or up. The bed moves: keep fingers out, and prop
   it before you reach under it.
2. Jog down by two leads to layer 1's height, so that the play is taken out. There the log starts.
3. Jog down by three to ten leads at one slow, constant speed; eight readings a turn or more.
   By time: `time_s` or `time_ms`, `speed_mm_s` on top, and `start_s`: the time at which the bed
   began to move (else: the first reading). It is taken to be known to 0.05 s, so go slowly: at
   0.5 mm/s on a lead of 5 mm that is 2 degrees of a turn.
   By height: `down_mm`, how far down since the start.
4. One file for each probe and axis. `turned` and `turned_deg` where a coupling had been turned.
5. The control, against a fixed point of the frame, as in the jog test.

`bedsim diagnose` and `bedsim learn` read it like a jogged series. A step, a stop or a reading that
stays in the air must be cut off before.
"""

_LOG_HEAD = """\
# test = log
# probe = front right
# axis = y
# lead_mm = 5
# speed_mm_s = 0.5         # with time_s; not with down_mm
# start_s = 0              # when the bed began to move
time_s,reading_um
"""


def _logged(seconds: float) -> float:
    """An invented bed: 6 um once per turn of 10 s, a third of it twice, 2 um of drift a minute."""
    psi = 2 * math.pi * seconds / 10
    value = 6 * math.cos(psi - 1) + 2 * math.cos(2 * psi) + seconds / 30 + 0.4 * math.sin(37.3 * seconds)
    return round(value - 6 * math.cos(1) - 2, 1)


_VIBRATION = """\
# Taps with an accelerometer: which modes ring, and how damped

A phone has an accelerometer and apps that write it down, mostly 100 to 400 samples a second: enough
for modes up to 40 or 160 Hz. Stiff machines ring near 100 Hz: a board with a chip sees them.

You need: the logger, two-sided tape, a rubber hammer, ten minutes.

1. Motors powered and holding, bed as for the first layer, part fan and gantry still. Tape the
   logger down hard in the middle of the bed, its x along the bed's +X; what can rattle rings too.
2. Start the log. Tap the edge of the bed along X five times, two seconds apart, with the hammer;
   then along Y, then its top. Light taps: hard ones slide what sticks, and friction is no damping.
3. Stop, export as CSV. Columns: a time (`time_s`, `time_ms`) and x, y, z under the names that
   loggers use; units of acceleration do not matter, and columns of other sensors are left out.
4. `bedsim gauge FILE.csv --beside SCENARIO` puts the modes beside those of the machine.

Half the sampling rate is the end: what rings above shows mirrored below. A ring-down of a second
tells modes apart that lie a hertz apart. The lowest modes show best; rotors do not show at all.
Keep fingers out from under the bed, and prop it before you reach under it.
"""

_VIBRATION_HEAD = """\
# test = vibration
time_s,x,y,z
"""


def _shaken() -> Iterable[str]:
    """An invented bed of three modes, tapped four times and logged four hundred times a second."""
    rng = random.Random(24)
    for k in range(1680):
        total = [rng.gauss(0, 0.01) for _ in range(3)]
        for tap in (0.5, 1.5, 2.4, 3.4):
            t = k / 400 - tap
            if t >= 0:
                for axis, (f, ratio) in enumerate(((94.0, 0.031), (108.0, 0.022), (32.0, 0.04))):
                    w = 2 * math.pi * f
                    total[axis] += math.exp(-ratio * w * t) * math.sin(w * math.sqrt(1 - ratio**2) * t)
        yield f"{k / 400:.4f}," + ",".join(f"{v:.4f}" for v in total)


_PHOTO = """\
# A photo of a wall under raking light

Bands that an eye sees a camera measures better: their length, where their crests are, how strong
they are beside each other. How high they are only a coupon beside them tells.

You need: a dark room, one lamp, a phone or camera on a stand, a ruler.

1. Lamp above the wall (or below: say which), grazing it, as far off as you can; nothing else lit.
   Matt filament, one colour. Camera square to the wall, in its middle, zoomed, not close.
2. Lay the ruler beside the wall, zero at the first layer. Take the picture: no flash, no filter, no
   HDR; nothing may be white or black throughout. PNG or JPEG, 50 million pixels at most.
3. Open it in any viewer that shows pixels. Write two points on one upright line: `x_px`, `y_px`
   from the picture's upper left corner, and their height above the first layer, `height_mm`. Or one
   point, and `layer_mm`: the layer lines are then the scale, if the camera resolves them.
4. The part looked at lies between the points, 200 pixels to either side: `heights_mm = 2, 38` and
   `across_px = -300, 150` choose another.
5. For an amplitude: a coupon of known bands (its amplitude by gauge) in the same picture, facing
   the same way: `coupon_um`, and where it stands beside the line: `coupon_across_px = 400, 700`.

The table lies beside the picture and names it. The brightest line is a quarter of a band above the
crest with light from above: counted. A lamp changes slowly along the wall, tilt and dark corners
are taken out; a seam or a scratch is not.
"""

_PHOTO_HEAD = """\
# test = photo
# picture = wall.png
# wall = +X
# probe = front right
# light = above
x_px,y_px,height_mm
"""


PAGES = {
    "photo": TestSheet(recipe=_PHOTO, head=_PHOTO_HEAD, rows=(",,0", ",,40"), example=lambda: ()),
    "vibration": TestSheet(recipe=_VIBRATION, head=_VIBRATION_HEAD, rows=("0,,,",), example=_shaken),
    "log": TestSheet(
        recipe=_LOG,
        head=_LOG_HEAD,
        rows=("0,",),
        example=lambda: (f"{k / 2:g},{_logged(k / 2)}" for k in range(81)),
    ),
    "rolled": TestSheet(
        recipe=_ROLLED,
        head=_ROLLED_HEAD,
        rows=tuple(f"{s},," for s in (80, 140, 200, 260, 320)),
        example=lambda: ("80,40,50", "140,60,70", "200,70,80", "260,60,70", "320,30,40"),
    ),
}
