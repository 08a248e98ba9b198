"""One-page recipes for the workshop tests, and the blank tables to fill in."""

from __future__ import annotations

import difflib

from bedsim.errors import InputError
from bedsim.metrology.log_fit import is_log
from bedsim.metrology.recipe_pages import PAGES
from bedsim.metrology.tug_recipe import TUG, tug_blank
from bedsim.metrology.vibration_log import is_vibration

_RUNOUT = """\
# Run-out of a screw with a dial gauge on the nut

Why the nut: the bed follows the nut, and the nut follows the flanks of the thread. The crest of a
rolled thread is not its flank; a gauge on the crest sees both and cannot tell which. The machine's
own bearings, because a bent screw looks different on every support.

You need: a dial gauge (0.01 mm or 0.0005 inch, better 0.001 mm), a magnetic stand, half an hour per
screw.

1. Switch the machine off. Support the bed so that it cannot come down; a bed off its screw can
   fall. Loosen the nut from its carriage, so that it can follow the screw sideways but not turn (a
   finger of string or a light fork).
2. Stand the gauge on the frame, its plunger level, pointing at the axis of the screw, on a smooth
   face of the nut. Note the gauge's direction from the screw: counter-clockwise from +X seen from
   above (`gauge_deg`).
3. Choose five heights of the nut, spread over the screw: near both ends and between. Position
   counts from the lower end of the free length (the lower bearing).
4. At each height take eight readings around one turn.
   By angle: start from the clocking zero (the screw as it stands with the bed at layer 1) and turn
   it counter-clockwise, seen from above, in eighths of a turn; `angle_deg` is how far it is turned.
   Or mark eight angles around it, counter-clockwise from above, mark 0 facing +X at the clocking
   zero, and write the mark that stands under the gauge (`angles = marks`).
   Or by jog: move the axis by an eighth of the lead, reading each time, twelve readings over one
   and a half turns (`jog_mm`). Positions must then be those the machine shows, so that the angle is
   known: `zero_position_mm` is the nut's height at layer 1 (`print.first_layer_nut_mm`).
   Always turn the same way; the nut has play.
5. Go back to the first mark at the end: the reading must return. If it does not, something has
   moved. Repeat one turn twice: half the difference is the repeatability.
6. `bedsim gauge FILE.csv` prints offsets, the bent centreline, the best grade and the keys for your
   scenario.

Other ways, with a larger stated uncertainty: `setup = bearings` (gauge on the crest), `centres`
(measure the journals too, column `place`), `v-block` (gauge on the crest; blocks at `supports_mm`;
shows the bow, never the eccentricity).
Without angles, write max_um and min_um per position: run-out only, no direction.

A screw on the bench is not the screw in the machine: a clamped end pulls it straighter, misaligned
bearings bend it anew, and a free end swings almost five times the bench reading. So the keys say
which it was: `free` (v-block, centres) or `mounted` (nut, bearings). Read in the machine, say too
whether an end is clamped by a pair of bearings (`clamped = yes` or `no`): then the table of offsets
is used, for such a bow is no half sine.
TIR is the span of the needle; the offset of the axis is half of it.
"""

_STIFFNESS = """\
# Push and pull: stiffness and friction

You need: a luggage scale (0.1 kg or better), a dial gauge (0.01 mm, better 0.001 mm), a cord, an
hour.

1. Motors powered and holding. Block the bed from below; keep fingers from under it.
2. Gauge on the frame of the room or the bench, not on the part you pull, on the opposite side of
   the pull, same height.
3. Pull in one direction (radial: towards the middle of the machine; tangential: across) in five
   steps up to 20 to 50 N and back in five, then the other way: a full loop. Tap nothing. Write the
   force with its sign, the needle's place, the order as taken. Pushes are negative.
4. Places: `carriage` (nut loosened: guide and frame), `frame` (at the rail), `nut` (carriage
   loosened: nut, shaft and bearings), `joint` (nut pulled against carriage), `bed` (all together: a
   check).
5. Repeat at three heights of the nut, `height_mm` above the lower bearing: the screw's stiffness
   changes with height.

The slope of the loop is the stiffness, half its width in force the friction.
"""

_DECAY = """\
# Tap and count: frequency and damping

You need: a dial gauge or a phone with an accelerometer app, a stopwatch, a rubber hammer.

1. Motors powered and holding, part fan and gantry still.
2. Tap the bed sideways and let it ring. With a gauge: read the swing (peak to peak) at the start
   and after some swings. With a phone: read the peaks off the plot.
3. Either write one line for each swing (`cycle`, `amplitude_um`, and `time_s` if you have it), or
   one line for each tap (`cycles` counted, `duration_s`, `first_um`, `last_um`). Any unit of
   amplitude will do as long as it is one.
4. Tap at least five times.

Amplitudes that fall by equal ratios are damping. If they fall by equal steps it is dry friction:
said in the output.
"""

_CORD = """\
# A weight on a cord: drag and detent

You need: a cord, a bag, small weights (coins, bolts) and a kitchen scale.

1. Power off. Block the bed: without power a ball screw can run down by itself. Work on one screw at
   a time with the carriage hanging free of the bed, if you can.
2. Wind the cord round the pulley or coupling; measure from the axis to the middle of the cord
   (`radius_mm`).
3. Motor uncoupled (`motor` = off): add weight until the screw just starts to turn, in the sense
   that raises, then in the sense that lowers; four angles each. Write the mass including the bag;
   5 kg at most, on a larger pulley if that is not enough.
4. Motor coupled, without current (`motor` = on): the same at four to eight angles; the worst ones
   count.

Half the sum of raising and lowering is the drag, half the difference the load; what the motor adds
is its detent torque.
"""

_JOG = """\
# The bed under a dial gauge while a lead is jogged

Two such series, sideways at two corners of the bed, tell more of what the bed will do in a print
than all push-pull together; in the middle of the bed they tell less.

You need: a dial gauge (0.01 mm for nuts that are bolted; 0.001 mm for joints, with which the bed
moves a few micrometres), a stand, ten minutes a series.

1. Motors powered and holding, bed as for the first layer of a print. The bed moves: keep fingers
   out, and prop it before you reach under it.
2. Stand the gauge on the frame, not on the gantry, its plunger level along X (or Y) against the
   bed's edge or a block on it, at one of the scenario's probes (`centre`, `front right`, ...).
3. Jog the bed down by two leads and stop at layer 1's height, so that the play is taken out.
   Write the first reading as eighth 0, then jog down by an eighth of the lead at a time, eight
   times, and read each: eighths 0 to 8. Positive: the bed moves along +X, +Y or up.
4. Never jog back within a series.
5. The control: the same with the plunger against a fixed point of the frame, `frame` under `probe`.
   It must read the same all the way; what it shows is the stand's own, looks like a bent screw,
   cannot be told from one.
6. Again with one screw turned in its coupling: write its corner under `turned` and by how much,
   counter-clockwise from above, under `turned_deg`. Support the bed and cut the power before a
   coupling is loosened: the bed can drop.
"""

_BANDS = """\
# Bands on printed walls

Walls at the four edges of the bed (one large thin frame) tell which screw it is; a small part in
the middle does not.

1. Print a thin frame as large as the bed, a few leads high, one wall line, no ironing, at constant
   speed. Mark which wall faced +X, -X, +Y, -Y, and the nearest probe of the scenario.
2. Under raking light measure the distance of the bands (`wavelength_mm`), the height of a crest
   above the first layer (`crest_mm`, to 0.3 mm) and, with a gauge or by comparison, their
   amplitude (`amplitude_um`, half of crest to valley, to a tenth).
3. Below 1 um no eye tells an amplitude: leave such walls out.
"""

_HEIGHTS = """\
# Heights by ruler

What joints leave of a bent screw hangs on the heights of guides, mounts and joints, and these have
wide defaults: a ruler is the best instrument for a machine with joints.

1. Motors off, bed propped up.
2. Measure from the bed's surface down to the middle of the guide's carriage (`guide.height_mm`,
   negative below the surface), of the mount's contact (`mount.height_mm`), of the joint's plane
   (`joint.height_mm`), and of the nut's thread (`nut.thread_height_mm`); one line a key.
3. `sigma_mm`: how well, 1 if in doubt.
"""

RECIPES = {
    "run-out": _RUNOUT,
    "stiffness": _STIFFNESS,
    "decay": _DECAY,
    "cord": _CORD,
    "jog": _JOG,
    "bands": _BANDS,
    "heights": _HEIGHTS,
    **{name: page.recipe for name, page in PAGES.items()},
    "tug": TUG,
}
OF_GAUGE = ("run-out", "stiffness", "decay", "cord", "rolled", "vibration", "photo")
"""Tests that give keys by themselves; the others only say something of a whole machine."""

_RUNOUT_BLANK = """\
# test = run-out
# setup = nut              # nut, bearings, centres or v-block
# length_mm = 400          # free length between the bearings, or from the bearing to the free end
# ends = both              # in the machine: both (held at both ends) or one (upper end free)
# clamped = no             # yes: an end held against tilting too (fixed-supported, fixed-fixed)
# diameter_mm = 12         # nominal
# gauge_deg = 0            # from the screw to the gauge, counter-clockwise from +X
# angles = turned          # turned: the screw, counter-clockwise from above; marks: mark under the gauge
# resolution_um = 10       # one division of the gauge (or resolution_thou)
# repeatability_um = 3     # standard deviation of the same reading taken again
position_mm,angle_deg,reading_um
"""

_STIFFNESS_BLANK = """\
# test = stiffness
# resolution_um = 10       # one division of the gauge (or resolution_thou)
# resolution_n = 0.5       # last digit of the scale (or resolution_kgf, resolution_lbf)
place,direction,height_mm,force_n,displacement_um
"""

_DECAY_BLANK = """\
# test = decay
# resolution_um = 1        # of one amplitude
cycle,amplitude_um
"""

_CORD_BLANK = """\
# test = cord
# radius_mm = 10           # from the axis to the cord's centre
# step_g = 2               # how finely the mass was changed
direction,motor,mass_g
"""


_EDGES = (("+X", "front right"), ("-X", "back left"), ("+Y", "back right"), ("-Y", "front left"))
HEIGHT_KEYS = ("guide.height_mm", "mount.height_mm", "joint.height_mm", "nut.thread_height_mm")

_JOG_BLANK = """\
# test = jog
# sigma_um column: standard uncertainty of one reading, if it differs from --sigma-um
probe,axis,eighth,reading_um
"""

_BANDS_BLANK = """\
# test = bands
wall,probe,wavelength_mm,amplitude_um,crest_mm
"""

_HEIGHTS_BLANK = """\
# test = heights
# sigma_mm = 1             # how well each was measured
key,height_mm
"""


def recipe(name: str) -> str:
    """Return the recipe of a test; InputError names the tests there are."""
    return RECIPES[_known(name)]


def blank(name: str) -> str:
    """Return the blank table of a test, with example rows where the columns need no more than a pattern."""
    if _known(name) == "tug":
        return tug_blank()
    rows = {
        "run-out": [f"{s},{a}," for s in (20, 110, 200, 290, 380) for a in range(0, 360, 45)],
        "stiffness": [
            f"carriage,radial,{h},{f},"
            for h in (100, 200, 300)
            for f in (0, 10, 20, 30, 20, 10, 0, -10, -20, -30, -20, -10, 0)
        ],
        "decay": [f"{n}," for n in range(8)],
        "cord": [f"{d},{m}," for m in ("off", "on") for d in ("raises", "lowers") for _ in range(4)],
        "jog": [f"{p},{n}," for p in ("front right,y", "front left,x") for n in range(9)],
        "bands": [f"{w},{p},,," for w, p in _EDGES],
        "heights": [f"{k}," for k in HEIGHT_KEYS],
    }
    heads = {
        "run-out": _RUNOUT_BLANK,
        "stiffness": _STIFFNESS_BLANK,
        "decay": _DECAY_BLANK,
        "cord": _CORD_BLANK,
        "jog": _JOG_BLANK,
        "bands": _BANDS_BLANK,
        "heights": _HEIGHTS_BLANK,
    }
    known = _known(name)
    if known in PAGES:
        return PAGES[known].blank
    return heads[known] + "\n".join(rows[known]) + "\n"


def example(name: str) -> str:
    """Return an invented table of a test, to try the commands on; InputError where there is none."""
    known = _known(name)
    if known not in PAGES:
        raise InputError(f"--example {known}: there are examples of {', '.join(PAGES)}.")
    return PAGES[known].filled


def is_photo(name: str) -> bool:
    """Whether an example comes with a picture beside it."""
    return _known(name) == "photo"


def which_test(header: list[str], notes: dict[str, str]) -> str:
    """Tell which test a table holds, from its note `test` or its columns; InputError if neither tells."""
    if "test" in notes:
        return _known(notes["test"])
    if is_log(header):
        return "log"
    if is_vibration(header):
        return "vibration"
    starts = {
        "nut": "tug",
        "x_px": "photo",
        "wall": "bands",
        "go_": "rolled",
        "no_go": "rolled",
        "force": "stiffness",
        "mass": "cord",
        "amplitude": "decay",
        "cycle": "decay",
        "position": "run-out",
        "axis": "jog",
        "eighth": "jog",
        "key": "heights",
        "height_mm": "heights",
    }
    for start, name in starts.items():
        if any(h.startswith(start) for h in header):
            return name
    raise InputError(
        f"columns {', '.join(header)}: belong to none of the tests {', '.join(RECIPES)}. "
        "`bedsim gauge --blank NAME FILE` writes a table to fill in."
    )


def _known(name: str) -> str:
    word = name.strip().lower().replace("runout", "run-out").replace("_", "-")
    if word in RECIPES:
        return word
    near = difflib.get_close_matches(word, RECIPES, n=1)
    hint = f" Did you mean {near[0]}?" if near else ""
    raise InputError(f"test = {name!r}: must be one of {', '.join(RECIPES)}.{hint}")
