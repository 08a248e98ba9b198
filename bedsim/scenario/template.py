"""A first scenario from some answers: short, commented, complete by defaults."""

from __future__ import annotations

from dataclasses import dataclass

from bedsim import registry
from bedsim.scenario.toml_text import toml_value

_BESIDE_MM = 35.0
"""How far the screws stand outside the bed (assumed)."""


FRAMES = {
    "not_known": (),
    "welded": (f"frame.section = {toml_value('steel_40x20x2')}  # posts of welded tube: put your own",),
    "extrusion": (f"frame.section = {toml_value('30x30')}  # posts of aluminium extrusion: put your own",),
    "printed": tuple(
        f"frame.{key} = {toml_value(value)}{remark}"
        for key, value, remark in (
            ("radial_n_per_um", {"low": 0.05, "likely": 0.3, "high": 1, "basis": "estimated"}, ""),
            ("tangential_n_per_um", {"low": 0.05, "likely": 0.3, "high": 1, "basis": "estimated"}, ""),
            (
                "rotation_nm_per_rad",
                {"low": 50, "likely": 300, "high": 2000, "basis": "estimated"},
                "  # brackets of printed plastic: assumed, a tenth of a bolted frame; push and measure",
            ),
        )
    ),
}
"""What stands behind guides and bearings, as lines of a scenario.  The printed one: assumed, no source."""

_BOW_DEG = (0, 100, 230, 310)
"""Directions of the bows until they are measured (assumed); even spacing would cancel and flatter the bed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """What a scenario needs from its author; lengths in mm, mass in kg, torque in N m, run-out in um TIR."""

    bed_x_mm: float
    bed_y_mm: float
    bed_mass_kg: float
    corners: int
    screw: str
    diameter_mm: float
    lead_mm: float
    length_mm: float
    ends: str
    run_out_tir_um: tuple[float, ...]  # one for all screws, or one each
    guide: str
    frame: str
    mount: str
    joint: str
    holding_torque_n_m: float
    gear_ratio: float
    layer_mm: float
    layers: int


def plain_starts(diameter_mm: float, lead_mm: float) -> int:
    """Starts of a trapezoidal screw of which only diameter and lead are known.

    The pitch is the usual one of ISO 2904 for the diameter (Tr8x2 with several starts is common practice).
    """
    usual = ((11, 2.0), (14, 3.0), (21, 4.0), (29, 5.0), (37, 6.0))
    pitch = next((p for largest, p in usual if diameter_mm < largest), 7.0)
    return max(1, round(lead_mm / pitch))


def corner_places(bed_x_mm: float, bed_y_mm: float, corners: int) -> tuple[tuple[str, float, float], ...]:
    """Names and XY (mm) of three screws (two in front, one behind) or four (near the bed's corners)."""
    x, front = bed_x_mm / 2 + _BESIDE_MM, -0.35 * bed_y_mm
    if corners == 3:
        return (
            ("front left", -x, front),
            ("front right", x, front),
            ("back", 0.0, bed_y_mm / 2 + _BESIDE_MM),
        )
    return (
        ("front left", -x, front),
        ("front right", x, front),
        ("back right", x, -front),
        ("back left", -x, -front),
    )


def _line(key: str, value: object, remark: str = "") -> str:
    return f"{key} = {toml_value(value)}" + (f"  # {remark}" if remark else "")


def _guess(likely: float, factor: float = 2.0) -> dict[str, object]:
    return {"low": _number(likely / factor), "likely": _number(likely), "high": _number(likely * factor)}


def _number(value: float) -> float | int:
    """Whole numbers are written without a point."""
    return int(value) if float(value).is_integer() else float(f"{value:.6g}")


def _kind_names(part: str) -> str:
    *others, last = registry.names(part)
    return f"{', '.join(others)} or {last}"


def _kind_lines(part: str, name: str, words: str = "") -> list[str]:
    """A part's kind, and the keys that it has no default for, with a first guess."""
    lines = [_line(f"{part}.kind", name, f"{words}{_kind_names(part)}")]
    for key, needed in registry.find(part, name).needed.items():
        guess = needed.suggested
        numbers = {"low": guess.low, "likely": guess.likely, "high": guess.high}
        value = {**{word: _number(number) for word, number in numbers.items()}, "basis": "estimated"}
        lines.append(_line(f"{part}.{key}", value, needed.remark))
    return lines


def _corner_lines(answers: Answers) -> list[str]:
    places = corner_places(answers.bed_x_mm, answers.bed_y_mm, answers.corners)
    lines = ["corner = [  # a line for each screw: what differs between them.  Made up here: put your own"]
    for index, (name, x, y) in enumerate(places):
        bow = f", screw.run_out.bow_deg = {_BOW_DEG[index]}" if any(answers.run_out_tir_um) else ""
        if len(answers.run_out_tir_um) > 1:
            read = {**_guess(answers.run_out_tir_um[index]), "basis": "estimated"}
            bow += f", screw.run_out.bow_tir_um = {toml_value(read)}"
        lines.append(f"  {{name = {toml_value(name)}, x_mm = {_number(x)}, y_mm = {_number(y)}{bow}}},")
    return [*lines, "]"]


def _screw_lines(answers: Answers) -> list[str]:
    lines = [
        "[screw]  # holds for every corner, as do all tables outside corner",
        _line("kind", answers.screw, _kind_names("screw")),
        _line("diameter_mm", _number(answers.diameter_mm)),
        _line("lead_mm", _number(answers.lead_mm), "travel per turn"),
    ]
    if not registry.screw_kind(answers.screw).rolls:
        lines.append(
            _line("starts", plain_starts(answers.diameter_mm, answers.lead_mm), "lead / pitch; count them")
        )
    lines += [
        _line("length_mm", _number(answers.length_mm), "free length"),
        _line("ends", answers.ends, "lower end first"),
    ]
    if len(answers.run_out_tir_um) == 1 and any(answers.run_out_tir_um):
        run_out = {**_guess(answers.run_out_tir_um[0]), "basis": "estimated"}
        lines.append(
            _line("run_out.bow_tir_um", run_out, "dial gauge span over a turn, read on the free screw")
        )
    return lines


def scenario_text(answers: Answers, title: str) -> str:
    """Write a scenario file of some thirty lines; what it leaves out is defaulted by the kind of part."""
    lines = [
        "# Written by bedsim new; run it with bedsim run.  All keys are listed in scenarios/README.md.",
        '# A number not known exactly may be a range: {low = 1, likely = 2, high = 4, basis = "estimated"}.',
        _line("title", title),
        *_corner_lines(answers),
        *_kind_lines("guide", answers.guide),
        *_kind_lines("mount", answers.mount, "bed to carriage: "),
        *_kind_lines("joint", answers.joint, "nut to carriage: "),
        *FRAMES[answers.frame],
        _line("motor.holding_torque_n_m", _number(answers.holding_torque_n_m), "at rated current"),
        *([_line("motor.gear_ratio", _number(answers.gear_ratio))] if answers.gear_ratio != 1.0 else []),
        "",
        "[bed]",
        _line("size_x_mm", _number(answers.bed_x_mm), "X to the right"),
        _line("size_y_mm", _number(answers.bed_y_mm), "Y to the back"),
        _line("mass_kg", _number(answers.bed_mass_kg), "plate, heater, insulation and surface together"),
        "",
        "[print]",
        _line("layers", answers.layers),
        _line("layer_mm", _number(answers.layer_mm)),
        "",
        *_screw_lines(answers),
    ]
    return "\n".join(lines) + "\n"
