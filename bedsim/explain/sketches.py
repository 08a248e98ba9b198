"""Sketches in text, one for each part of the machine and each idea that wants one."""

from __future__ import annotations

from collections.abc import Mapping

_CORNER = """\
      nozzle
        v            print: layer by layer, the bed goes down
   =============     [bed]        plate, heater, surface
        | mount      [mount]      carriage to bed
   +----+---+
   |carriage|=====|  [guide]      carriage to rail, [frame] behind it
   +----+---+     |
        | joint   |  [joint]      nut to carriage
      [nut]       |  [nut]
        #         |
        #         |  [screw]      turns, is bent, pushes sideways
        #
      (===)          [coupling]
      [motor]"""
_BENT = """\
        upper bearing
            o
            :)            |r| offset of the centreline; it turns with the screw
            : )  <- bow   TIR of a dial gauge = 2 |r|
            : )           crest in the middle (both ends held)
            :)
            o
        lower bearing"""
_TUG = """\
    bent screw                     guide and frame
    r ->|--/\\/\\--+--/\\/\\--|
           k_s   |  k_g          u = r k_s/(k_s + k_g)
                 u  nut and bed sideways, once per turn"""
_JOINT = """\
      carriage  ____________
                 o    o    o     balls, posts or a film: the nut floats sideways
      nut plate ============     lateral_n_per_mm, friction, travel to its stop"""
_GUIDE = """\
      rail |#|<- radial ->  [carriage]      tangential: across, out of the page
           |#|   height_mm below the bed: the arm from guide to mount"""
_MOTOR = """\
      torque ^        holding torque
             |     _.-'-._
             |  .-'       '-.      load angle: how far the rotor lags,
             +-'-----------'-.-->  90 electrical degrees: steps are lost
             0     90      180"""
_BANDS = """\
      wall seen edge-on        height
        |  )                      ^
        | (     <- one lead ->    |   amplitude: half of crest to valley
        |  )                      |   peak to valley: all of it
        | (                       |"""
_STAIR = """\
      height of the bed           ___
                             ___/      move, then it rings and settles,
                        ___/           then printing: one layer"""

SKETCHES: Mapping[str, str] = {
    "bed": _CORNER,
    "corner": _CORNER,
    "carriage": _CORNER,
    "mount": _CORNER,
    "screw": _BENT,
    "screw.run_out": _BENT,
    "screw.travel": _BENT,
    "screw.alignment": _BENT,
    "nut": _TUG,
    "frame": _TUG,
    "guide": _GUIDE,
    "joint": _JOINT,
    "sizing.joint_part": _JOINT,
    "motor": _MOTOR,
    "drive": _MOTOR,
    "coupling": _CORNER,
    "print": _STAIR,
    "motion": _STAIR,
    "damping": _STAIR,
    "probe": _CORNER,
    "tug of war": _TUG,
    "bands": _BANDS,
    "row": _TUG,
}


def sketch_of(name: str) -> str:
    """The sketch of a table or an idea, of the table around it where it has none of its own."""
    while name and name not in SKETCHES:
        name = name.rpartition(".")[0]
    return SKETCHES.get(name, "")
