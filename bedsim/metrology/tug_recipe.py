"""The tug of war of one bent screw: how a reader measures it, and the blank table."""

from __future__ import annotations

TUG = """\
# The tug of war of one bent screw

What bedsim computes first of all, how far a bent screw pushes its carriage aside against guide and
frame, has been measured by nobody who published it. This experiment does. An afternoon.

You need: one clearly bent screw (TIR of 100 um and more), a dial gauge (0.01 mm, better 0.001
mm) with a stand, marks at eighths of a turn on the screw, a luggage scale.

1. Switch the machine off and pull the mains plug. Prop the bed up so that it cannot come down, then
   take it off this corner's mount: screw, nut, carriage and guide stand alone. Keep fingers out of
   the thread.
2. Choose seven heights of the nut (`height_mm`, from the lower bearing), spread over the screw.
   With its upper end free a screw soon gives way altogether: most of them low down then.
3. Nut free: unbolt the nut from its carriage, hold it from turning by a finger of string. Gauge
   on the nut, level, pointing at the screw's axis. At each height turn the screw by eighths,
   counter-clockwise seen from above, and read all eight (`nut` = free, `gauge` = nut). This is the
   screw alone.
4. Nut bolted: bolt it to the carriage, without a joint. The same heights and angles, gauge on the
   nut, then gauge on the carriage at the guide's height (`nut` = bolted, `gauge` = nut, carriage).
5. Always turn the same way. `angle_deg` counts from one mark that is the same in all series. The
   gauge stays on the same side: `gauge_deg`, from the screw to the gauge, counter-clockwise from
   +X.
6. Go back to angle 0 at the end of each turn: the reading must return.
7. Push and pull, for what the guide and the frame give: `bedsim learn --recipe stiffness`, places
   `carriage` (nut loose) and `frame`, radial and tangential, `# corner = ...` on top.
8. `bedsim learn TUG.csv PUSH.csv SCENARIO` predicts the bolted readings from the free ones and from
   the machine as described, and prints E = prediction - reading beside u_val.

What |E| < 2 u_val says is that model and machine agree within what is known of both; no more.
"""

_HEAD = """\
# test = tug
# corner = NAME            # which corner of the scenario
# gauge_deg = 0            # from the screw to the gauge, counter-clockwise from +X
# resolution_um = 10       # one division of the gauge
nut,gauge,height_mm,angle_deg,reading_um
"""
SERIES = (("free", "nut"), ("bolted", "nut"), ("bolted", "carriage"))
HEIGHTS_MM = (60, 110, 160, 210, 260, 310, 360)


def tug_blank() -> str:
    """The blank table: three series, seven heights, eight angles."""
    rows = [f"{n},{g},{h},{a}," for n, g in SERIES for h in HEIGHTS_MM for a in range(0, 360, 45)]
    return _HEAD + "\n".join(rows) + "\n"
