"""Kinds of screws: what a ground, a rolled and an ungraded ball screw and a plain lead screw bring with them.

Ranges are orders of magnitude for a first scenario; a catalogue page or a measurement of the actual part is
better. Ratings of the same size differ by up to a factor of two between makers.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from importlib import resources

from bedsim.errors import InputError
from bedsim.units import DEG, GRAVITY, MM, N_PER_UM

FLANK_ANGLE = 15 * DEG  # half the profile angle of a trapezoidal thread; ISO 2904
CATALOGUE_SHARE = 0.8  # THK: the tabulated stiffness leaves out the nut's bracket; take 80 % of it


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """A quantity known between bounds, with the reason for them."""

    low: float
    likely: float
    high: float
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of screw.

    `scenario_kind`: value of screw.kind.  `friction`: coefficient.  `clearance`: axial play [m].
    `preload_share`: preload over dynamic load rating, None for nuts with play.  `grades`: grades usually
    sold; () for none.
    """

    name: str
    scenario_kind: str
    grades: tuple[str, ...]
    friction: Range
    clearance: Range
    preload_share: Range | None
    advice: str


_ROLLING = Range(low=0.002, likely=0.005, high=0.01, basis="rolling in the thread, from memory")
KINDS = {
    "ground_ball": Kind(
        name="ground ball screw",
        scenario_kind="ground_ball",
        grades=("C0", "C1", "C3", "C5", "ISO 1", "ISO 3", "ISO 5"),
        friction=_ROLLING,
        clearance=Range(low=0.0, likely=0.0, high=5e-6, basis="common practice, no source: preloaded nuts"),
        preload_share=Range(low=0.02, likely=0.05, high=0.10, basis="common practice; THK: 10 % of Ca"),
        advice="Run-out and lead are limited by the grade; check the straightness after shipping.",
    ),
    "rolled_ball": Kind(
        name="rolled ball screw",
        scenario_kind="rolled_ball",
        grades=("C7", "C10", "ISO 7", "ISO 10"),
        friction=_ROLLING,
        clearance=Range(
            low=0.0,
            likely=50e-6,
            high=100e-6,
            basis="MISUMI p. 1590, largest play of rolled C7 screws: 0.05 mm (8 to 12 mm diameter), 0.10 mm "
            "(15 to 20 mm); the rows were blurred in the copy read",
        ),
        preload_share=None,
        advice="The crest of a rolled thread is not its flank: measure run-out with the gauge on the nut.",
    ),
    "ungraded_rolled": Kind(
        name="ungraded rolled screw",
        scenario_kind="rolled_ball",
        grades=(),
        friction=_ROLLING,
        clearance=Range(low=0.0, likely=50e-6, high=200e-6, basis="assumption: as rolled C7, twice at most"),
        preload_share=None,
        advice="No grade limits anything: describe the lot by screws you have measured (mean and spread).",
    ),
    "plain": Kind(
        name="plain (trapezoidal) lead screw",
        scenario_kind="plain",
        grades=(),
        friction=Range(low=0.08, likely=0.12, high=0.20, basis="greased bronze or POM on steel, from memory"),
        clearance=Range(low=20e-6, likely=100e-6, high=300e-6, basis="assumption; measure the nut"),
        preload_share=None,
        advice="Rolled 8 mm screws have roots of 5.9 to 6.3 mm rather than 5.5 (from memory): measure.",
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class BallScrew:
    """One catalogue row: lengths [m], ratings [N], stiffness [N/m]; None where the row gives none."""

    designation: str
    diameter: float
    lead: float
    ball: float | None
    circuits: int | None
    dynamic_rating: float | None
    static_rating: float | None
    stiffness: float | None
    root: tuple[float, float] | None
    status: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Trapezoidal:
    """ISO 2904 basic dimensions [m] of a trapezoidal thread.

    `pitch_diameter` d2, `root_diameter` d3 of the screw, `nut_minor` D1, `nut_major` D4, `lead_angle` [rad]
    at d2.
    """

    designation: str
    diameter: float
    pitch: float
    lead: float
    pitch_diameter: float
    root_diameter: float
    nut_minor: float
    nut_major: float
    lead_angle: float


def trapezoidal(diameter: float, pitch: float, starts: int = 1) -> Trapezoidal:
    """Return the basic dimensions of a trapezoidal thread of nominal `diameter` [m], `pitch` [m] and
    `starts`.

    d2 = d - P/2; d3 = d - P - 2 ac; D1 = d - P; D4 = d + 2 ac; crest clearance ac = 0.15 mm for P = 1.5 mm
    and 0.25 mm for P = 2 to 5 mm.  Source: [ROYMECH] after ISO 2904.  Raises InputError for other pitches
    and if no core is left.
    """
    if math.isclose(pitch, 1.5 * MM):
        crest = 0.15 * MM
    elif 2 * MM * (1 - 1e-9) <= pitch <= 5 * MM * (1 + 1e-9):
        crest = 0.25 * MM
    else:
        raise InputError(f"pitch_mm = {pitch / MM:g}: must be 1.5 or 2 to 5; no table here gives others.")
    if diameter - pitch - 2 * crest <= 0 or starts < 1:
        raise InputError(f"diameter_mm = {diameter / MM:g}, starts = {starts}: leaves no core or no thread.")
    pitch_diameter, lead = diameter - pitch / 2, pitch * starts
    multi = f"(P{pitch / MM:g})" if starts > 1 else ""
    return Trapezoidal(
        designation=f"Tr{diameter / MM:g}x{lead / MM:g}{multi}",
        diameter=diameter,
        pitch=pitch,
        lead=lead,
        pitch_diameter=pitch_diameter,
        root_diameter=diameter - pitch - 2 * crest,
        nut_minor=diameter - pitch,
        nut_major=diameter + 2 * crest,
        lead_angle=math.atan2(lead, math.pi * pitch_diameter),
    )


def raising_efficiency(thread: Trapezoidal, friction: float, flank_angle: float = FLANK_ANGLE) -> float:
    """Return work out over work in when the screw raises its load: tan(phi)/tan(phi + rho).

    rho = atan(friction/cos(flank_angle)); flank_angle 0 gives the square thread that some catalogues print.
    Source: [SHIGLEY] power screws; bearing friction is not included.
    """
    rho = math.atan(friction / math.cos(flank_angle))
    return math.tan(thread.lead_angle) / math.tan(thread.lead_angle + rho)


def back_driving_efficiency(thread: Trapezoidal, friction: float, flank_angle: float = FLANK_ANGLE) -> float:
    """Return tan(phi - rho)/tan(phi): negative where the screw should hold its load by friction alone.

    Vibration and wear lower friction: a negative value is no proof that a bed stays up without power.
    """
    rho = math.atan(friction / math.cos(flank_angle))
    return math.tan(thread.lead_angle - rho) / math.tan(thread.lead_angle)


def ball_screws(diameter: float, lead: float) -> tuple[BallScrew, ...]:
    """All catalogue rows of a nominal `diameter` [m] and `lead` [m]; raises InputError naming the sizes
    there are."""
    rows = [_row(r) for r in _read()]
    found = tuple(r for r in rows if math.isclose(r.diameter, diameter) and math.isclose(r.lead, lead))
    if found:
        return found
    sizes = ", ".join(sorted({f"{r.diameter / MM:g} x {r.lead / MM:g}" for r in rows}, key=_by_size))
    raise InputError(
        f"ball screw {diameter / MM:g} x {lead / MM:g}: no catalogue row here. Sizes: {sizes}. "
        "Take root diameter, ratings and stiffness from your maker's page."
    )


def nut_stiffness(
    table: float, rating: float, *, load: float | None = None, preload: float | None = None
) -> float:
    """Return the axial stiffness [N/m] of a ball nut under its own load from the catalogue value.

    Without preload the catalogue holds at a load of 30 % of the dynamic `rating` [N], with preload at a
    preload of 10 %; between, stiffness goes with the cube root, and 80 % of it is taken because brackets are
    not included. K = 0.8 table (load/(0.3 Ca))^(1/3) or 0.8 table (preload/(0.1 Ca))^(1/3).
    Source: [THK-RIGIDITY].  Give either `load` or `preload`; InputError otherwise or if not positive.
    """
    given = [v for v in (load, preload) if v is not None]
    if len(given) != 1 or given[0] <= 0:
        raise InputError("nut stiffness: give either load or preload, greater than 0.")
    share = load / (0.3 * rating) if load is not None else given[0] / (0.1 * rating)
    return CATALOGUE_SHARE * table * float(share ** (1 / 3))


def _row(r: dict[str, str]) -> BallScrew:
    def number(name: str, scale: float) -> float | None:
        return float(r[name]) * scale if r[name] else None

    low, high = number("root_low_mm", MM), number("root_high_mm", MM)
    return BallScrew(
        designation=r["designation"],
        diameter=float(r["diameter_mm"]) * MM,
        lead=float(r["lead_mm"]) * MM,
        ball=number("ball_mm", MM),
        circuits=int(r["circuits"]) if r["circuits"] else None,
        dynamic_rating=number("ca_kgf", GRAVITY),
        static_rating=number("c0a_kgf", GRAVITY),
        stiffness=number("stiffness_kgf_per_um", GRAVITY * N_PER_UM),
        root=(low, high) if low is not None and high is not None else None,
        status=r["status"],
        source=r["source"],
    )


def _by_size(text: str) -> tuple[float, float]:
    diameter, lead = text.split(" x ")
    return float(diameter), float(lead)


def _read() -> list[dict[str, str]]:
    text = (resources.files("bedsim.screws") / "tables" / "ball_screws.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))
