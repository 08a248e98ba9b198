"""The table of defaults: ordered, within the limits of the keys, with sources; root diameters."""

import pytest

from bedsim.scenario.defaults import TABLE, default_ranges, root_diameter_default, thread_clearance_mm
from bedsim.scenario.keys import PARTS, field_at, value_adapter

ENTRIES = [(part, kind, key, d) for (part, kind), keys in TABLE.items() for key, d in keys.items()]


@pytest.mark.parametrize(
    ("part", "kind", "key", "default"), ENTRIES, ids=[f"{p}-{k}-{n}" for p, k, n, _ in ENTRIES]
)
def test_every_default_keeps_order_and_the_limits_of_its_key(part, kind, key, default):
    loc = ("corner", 0, part, key) if part in PARTS else (part, key)
    assert field_at(loc) is not None, "no such key"
    assert default.low <= default.likely <= default.high
    for value in (default.low, default.likely, default.high):
        value_adapter(loc).validate_python(value)


def test_the_likely_default_agrees_with_the_schemas_own():
    """Two tables that state one number must not drift apart."""
    for part, kind, key, default in ENTRIES:
        loc = ("corner", 0, part, key) if part in PARTS else (part, key)
        field = field_at(loc)
        if kind == "any" and not field.is_required():
            assert field.default == default.likely, f"{part}.{key}"


def test_every_source_says_what_it_is():
    words = ("assumed", "computed", "from memory", "convention", "MISUMI", "ISO", "Cross")
    for part, kind, key, default in ENTRIES:
        assert default.source.startswith(words), f"{part} {kind} {key}: {default.source}"


def test_defaults_of_a_kind_include_those_of_every_kind():
    assert (
        default_ranges("guide", "wheels")["height_mm"] == default_ranges("guide", "profile_rail")["height_mm"]
    )


# Trapezoidal basic profile, RoyMech "Trapezoidal" (ISO 2904 / DIN 103-4): d, P -> d3, as printed in mm.
ROYMECH = [
    (8, 1.5, 6.2),
    (9, 1.5, 7.2),
    (10, 2, 7.5),
    (11, 2, 8.5),
    (11, 3, 7.5),
    (12, 2, 9.5),
    (12, 3, 8.5),
    (14, 3, 10.5),
]


@pytest.mark.parametrize(("diameter", "pitch", "root"), ROYMECH)
def test_root_diameter_of_trapezoidal_threads_is_the_tabulated_one(diameter, pitch, root):
    found = root_diameter_default("plain", diameter, pitch, 1)
    assert found.likely == pytest.approx(root, abs=0.005)
    assert root_diameter_default("plain", diameter, 4 * pitch, 4) == found


def test_root_diameter_of_tr16x4():
    """Engineers Edge, metric trapezoidal 7e table: d3 = 11.5 mm for Tr16x4."""
    assert root_diameter_default("plain", 16, 4, 1).likely == pytest.approx(11.5, abs=0.005)
    assert thread_clearance_mm(4) == 0.25


def test_root_diameter_of_ball_screws_covers_a_catalogue_example():
    """MISUMI p. 1676: shaft 15, lead 5: root diameter 12.5 mm."""
    found = root_diameter_default("rolled_ball", 15, 5, 1)
    assert found.low < 12.5 < found.high
    assert found.likely == pytest.approx(12.5, rel=0.02)


def test_a_thread_that_leaves_no_core_has_no_default():
    assert root_diameter_default("plain", 8, 8, 1) is None
