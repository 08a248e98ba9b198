"""Keys put into a scenario's text: only they change, comments and layout stay."""

import difflib
import tomllib

import pytest

from bedsim.errors import InputError
from bedsim.scenario.toml_edit import Edit, edited

BASE = """\
# a machine
title = "x = # y"   # in quotes

[bed]
mass_kg = {low = 1, likely = 2, high = 3, basis = "measured"}  # weighed

# what all screws share
[screw]
lead_mm = 5
run_out.bow_tir_um = 10 # common

# the front
[[corner]]
name = "front"
[corner.screw.run_out]
bow_tir_um = [
  1,  # lines
  2,
]  # odd
bow_deg = 20

[[corner]]
name = "back"
x_mm = 0
  [corner.nut]
  preload_n = 3

[[probe]]
name = "a"
"""


LIST = ("bow_tir_um = [", "  1,  # lines", "  2,", "]  # odd")


def put(text, *edits):
    return edited(text, [Edit(corner=c, key=tuple(k.split(".")), value=v) for c, k, v in edits], "m.toml")


def changed(before, after):
    lines = difflib.ndiff(before.splitlines(), after.splitlines())
    return [line for line in lines if line[0] in "+-"]


@pytest.mark.parametrize(
    ("edit", "told"),
    [
        (
            (None, "bed.mass_kg", "{low = 2, likely = 3, high = 4}"),
            [
                '- mass_kg = {low = 1, likely = 2, high = 3, basis = "measured"}  # weighed',
                "+ mass_kg = {low = 2, likely = 3, high = 4}  # weighed",
            ],
        ),
        ((None, "title", '"z"'), ['- title = "x = # y"   # in quotes', '+ title = "z"  # in quotes']),
        ((None, "screw.run_out.bow_deg", "1.5"), ["+ run_out.bow_deg = 1.5"]),
        ((None, "damping.ratio", "0.02"), ["+ ", "+ [damping]", "+ ratio = 0.02"]),
        ((0, "screw.run_out.bow_deg", "9"), ["- bow_deg = 20", "+ bow_deg = 9"]),
        (
            (0, "screw.run_out.bow_tir_um", "9"),
            [*(f"- {line}" for line in LIST), "+ bow_tir_um = 9  # odd"],
        ),
        (
            (0, "screw.run_out.bow_tir_um", None),
            [*(f"- {line}" for line in LIST), *(f"+ # {line}" for line in LIST)],
        ),
        ((0, "screw.run_out.tilt_deg", "9"), ["+ tilt_deg = 9"]),
        ((1, "screw.run_out.bow_deg", "9"), ["+ [corner.screw.run_out]", "+ bow_deg = 9"]),
        ((1, "nut.preload_n", "9"), ["-   preload_n = 3", "+   preload_n = 9"]),
        ((1, "nut.drag", "9"), ["+ drag = 9"]),
        ((1, "nut.none", None), []),
    ],
)  # fmt: skip
def test_only_the_key_changes(edit, told):
    after = put(BASE, edit)
    assert sorted(changed(BASE, after)) == sorted(told)
    assert tomllib.loads(after)["corner"][1]["name"] == "back"


def test_several_at_once_and_line_ends_stay():
    text = BASE.replace("\n", "\r\n")
    after = put(text, (0, "screw.run_out.bow_tir_um", None), (0, "screw.run_out.table", '"a.csv"'))
    assert after.count("\r\n") == after.count("\n") == text.count("\n") + 1
    assert tomllib.loads(after)["corner"][0]["screw"]["run_out"] == {"bow_deg": 20, "table": "a.csv"}


@pytest.mark.parametrize(
    ("text", "edit", "told"),
    [
        (
            BASE.replace("  [corner.nut]\n  preload_n = 3", "nut = {preload_n = 3}"),
            (1, "nut.drag", "1"),
            "m.toml: line 25: nut stands in braces",
        ),
        (
            'corner = [{name = "a"}]\n',
            (0, "nut.drag", "1"),
            r"m.toml: corner: keys are put into \[\[corner\]\]",
        ),
        ("nut.a.b = 1\n[nut.c]\nd = 2\n", (None, "nut.a", "1"), "m.toml: its layout is not understood"),
    ],
)
def test_what_is_not_understood_is_refused(text, edit, told):
    with pytest.raises(InputError, match=told):
        put(text, edit)
