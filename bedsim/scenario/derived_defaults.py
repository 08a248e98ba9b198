"""Defaults that follow from what stands beside them: a root from a diameter, a post from its section.

Each rule takes a corner's tables as far as they are filled and gives a `Default` in the unit of its key, or
nothing where what it needs is not given; then the part's plain default stands.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, TypeGuard

from bedsim import registry
from bedsim.registry import CouplingKind, Default
from bedsim.scenario.defaults import default_ranges, root_diameter_default
from bedsim.scenario.section import LARGEST_OTHER, SMALLEST

Corner = Mapping[str, Any]
Rule = Callable[[Corner], Default | None]

DETENT_SHARE = Default(
    0.036,
    0.055,
    0.11,
    "computed: 0.036, 0.055, 0.11 of the holding torque, the range of seven motors' data sheets",
)
BEARING_TILT: Mapping[str, Default] = {
    "back_to_back": Default(
        2500.0,
        3300.0,
        4900.0,
        "computed: Hertz contacts of a pair 7000 or 7001 at 15 to 60 N of preload, halved for housing",
    ),
    "face_to_face": Default(90.0, 170.0, 320.0, "computed: the same pair face to face"),
    "single": Default(
        1.0, 5.0, 30.0, "assumed: next to none, a single deep-groove bearing tilts freely in its play"
    ),
}
MOTOR_PLAY_UM = Default(20.0, 50.0, 80.0, "from memory: data sheets of 42 mm frames print 80 at most")
# Second moments of area, m4, and Young's moduli, Pa
SECTIONS: Mapping[str, tuple[float, float, str]] = {
    "20x20": (0.7e-8, 70e9, "I 0.7 cm4 from memory"),
    "30x30": (2.8e-8, 70e9, "I 2.8 cm4 from memory"),
    "40x40": (9.0e-8, 70e9, "I 9 cm4 from memory"),
    "steel_40x20x2": (1.34e-8, 210e9, "I 1.34 cm4 about the weak axis, a steel dealer's table"),
    "steel_60x40x2": (9.83e-8, 210e9, "I 9.83 cm4 about the weak axis, a steel dealer's table"),
}
POST_LENGTHS_MM = (500.0, 800.0)
"""Free lengths of posts where none is given.  Our assumption."""
CONTACT_SPREAD = 1.4  # a ball nut's stiffness that is given, towards what its contacts share unevenly
TURNS = 4.0
"""Loaded turns of a ball nut whose active length is not given.  Our assumption."""


def derived_defaults(part: str, kind: str | None, corner: Corner) -> dict[str, Default]:
    """Defaults of a part that follow from what is given, or filled in, beside them; the plain default of the
    kind where a rule has nothing to go by."""
    plain = {key: d for key, d in default_ranges(part, kind or "any").items() if key in RULES.get(part, {})}
    if kind is None or (part == "nut" and not registry.screw_kind(kind).rolls):
        return plain
    found = {key: rule(corner) for key, (rule, _, _) in RULES.get(part, {}).items()}
    return {**plain, **{key: default for key, default in found.items() if default is not None}}


def thread_of(screw: Mapping[str, Any]) -> tuple[float, float, int] | None:
    """Diameter and lead (mm) and starts of a screw's table, or None while one of them cannot be used."""
    numbers = (screw.get("diameter_mm"), screw.get("lead_mm"), screw.get("starts", 1))
    if not all(_is_positive(n) for n in numbers):
        return None
    diameter, lead, starts = (float(n) for n in numbers if _is_positive(n))
    return diameter, lead, max(int(starts), 1)


def _root(corner: Corner) -> Default | None:
    screw = _table(corner, "screw")
    thread, kind = thread_of(screw), str(screw.get("kind"))
    if thread is None or not default_ranges("screw", kind):
        return None
    return root_diameter_default(kind, *thread)


def _bearing_tilt(corner: Corner) -> Default | None:
    return BEARING_TILT.get(str(_table(corner, "screw").get("bearing_arrangement")))


def _coupling_twist(corner: Corner) -> Default | None:
    return coupling_twists().get(str(_table(corner, "coupling").get("kind")))


def coupling_twists() -> dict[str, Default]:
    """Torsional stiffness by kind of coupling, where it has one of its own."""
    kinds = (kind for kind in registry.kinds("coupling") if isinstance(kind, CouplingKind))
    return {kind.name: kind.twist for kind in kinds if kind.twist is not None}


def _twist_words() -> str:
    found = coupling_twists().items()
    return "; ".join(f"{name}: {d.likely:g} ({d.low:g} to {d.high:g})" for name, d in found)


def _axial_play(corner: Corner) -> Default | None:
    on_motor = str(_table(corner, "screw").get("ends")).startswith("motor-")
    return MOTOR_PLAY_UM if on_motor else None


def _detent(corner: Corner) -> Default | None:
    holding = _table(corner, "motor").get("holding_torque_n_m")
    return _scaled(DETENT_SHARE, holding) if _is_positive(holding) else None


def _axial(corner: Corner) -> Default | None:
    """Axial stiffness of a ball nut in N/um, with the default's range where it is the default."""
    value = _table(corner, "nut").get("axial_n_per_um")
    usual = default_ranges("nut", str(_table(corner, "screw").get("kind"))).get("axial_n_per_um")
    if not _is_positive(value) or usual is None or value == usual.likely:
        return usual
    return Default(value / CONTACT_SPREAD, value, value * CONTACT_SPREAD, "")


def _nut_radial(corner: Corner) -> Default | None:
    """Of z balls at the contact angle a that share a load alike, each of stiffness k: K = z k sin^2 a along
    the axis and z k cos^2 a / 2 across it; half of it at 45 degrees. Derived; Hertz contacts of a 16 x 5 nut
    give 16 to 35 N/um."""
    axial = _axial(corner)
    return (
        None
        if axial is None
        else _scaled(axial, 0.5, "computed: half of the axial stiffness, contact angle 45°")
    )


def _nut_tilt(corner: Corner) -> Default | None:
    """And z k/2 (r^2 sin^2 a + z_rms^2 cos^2 a) against tilting: axial (r^2 + z_rms^2)/2 at 45 degrees, r the
    radius of the ball circle and z_rms the active length over sqrt 12. Derived."""
    axial, thread = _axial(corner), thread_of(_table(corner, "screw"))
    if axial is None or thread is None:
        return None
    given = _table(corner, "nut").get("active_length_mm")
    length = given if _is_positive(given) else TURNS * thread[1] / thread[2]
    square = ((thread[0] / 2) ** 2 + length**2 / 12) * 1e-6  # m2
    source = "computed: axial stiffness x (r^2 + z^2)/2 from ball circle and active length, contact angle 45°"
    return _scaled(axial, square / 2 * 1e6, source)


def _post(corner: Corner) -> Default | None:
    """A post's sideways stiffness at its middle: from 48 E I/L^3 (hinged ends) to 192 E I/L^3 (built in); one
    that stands free, at its top: 3 E I/L^3, or half of it with the give of its foot. Source: [Roark] beam
    tables; the share of the foot is assumed."""
    frame = _table(corner, "frame")
    section = SECTIONS.get(str(frame.get("section")))
    if section is None:
        return None
    moment, modulus, source = section
    given = frame.get("free_length_mm")
    short, long = (given, given) if _is_positive(given) else POST_LENGTHS_MM
    softest, stiffest = (1.5, 3.0) if frame.get("post") == "free_standing" else (48.0, 192.0)
    low, high = (
        f * moment * modulus / (length * 1e-3) ** 3 * 1e-6
        for f, length in ((softest, long), (stiffest, short))
    )
    return Default(low, (low * high) ** 0.5, high, f"computed: {softest:g} to {stiffest:g} E I/L^3, {source}")


def _table(corner: Corner, part: str) -> Mapping[str, Any]:
    table = corner.get(part)
    return table if isinstance(table, Mapping) else {}


def _scaled(default: Default, factor: float, source: str | None = None) -> Default:
    """A default times a factor, each number rounded to three digits as people write them."""
    low, likely, high = (float(f"{factor * v:.3g}") for v in (default.low, default.likely, default.high))
    return Default(low, likely, high, default.source if source is None else source)


def _is_positive(value: Any) -> TypeGuard[float]:
    is_real = isinstance(value, int | float) and not isinstance(value, bool)
    return is_real and SMALLEST <= value <= LARGEST_OTHER


_POST_WORDS = "with a section: 48 to 192 E I/L^3; free standing: 1.5 to 3 E I/L^3"
_POST_SOURCE = "beam tables; feet assumed between hinged and built in, or half of a free post's give"
RULES: Mapping[str, Mapping[str, tuple[Rule, str | Callable[[], str], str]]] = {
    "screw": {
        "root_diameter_mm": (
            _root,
            "ball: 0.84 d (0.80 d to 0.88 d); plain: d3 (- 0.04 d to + 0.1 d)",
            "ball: MISUMI p. 1676 and from memory; plain: ISO 2904, range from memory",
        ),
        "bearing_tilt_nm_per_rad": (
            _bearing_tilt,
            "back_to_back: 3300 (2500 to 4900); face_to_face: 170 (90 to 320); single: 5 (1 to 30)",
            "Hertz contacts of 10 to 12 mm bearings",
        ),
        "coupling_nm_per_rad": (
            _coupling_twist,
            _twist_words,
            "rigid and disc assumed, jaw from memory, helical computed",
        ),
        "axial_play_um": (_axial_play, "0; on a motor: 50 (20 to 80)", MOTOR_PLAY_UM.source),
    },
    "nut": {
        "radial_n_per_um": (_nut_radial, "ball: half of axial_n_per_um", "contact angle 45°"),
        "tilt_nm_per_rad": (
            _nut_tilt,
            "ball: axial_n_per_um x (r^2 + z^2)/2, r of the ball circle, z active length over sqrt 12",
            "contact angle 45°",
        ),
    },
    "frame": {
        "radial_n_per_um": (_post, _POST_WORDS, _POST_SOURCE),
        "tangential_n_per_um": (_post, _POST_WORDS, _POST_SOURCE),
    },
    "motor": {
        "detent_torque_n_m": (_detent, "0.055 of holding_torque_n_m (0.036 to 0.11)", DETENT_SHARE.source),
    },
}
"""Part -> key -> the rule, and its words and source for the list of keys."""
