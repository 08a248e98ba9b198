"""Numbers replaced in a checked scenario against the same scenario read again."""

import pytest

from bedsim.errors import InputError
from bedsim.ranges.draws import draws
from bedsim.scenario import load
from bedsim.scenario.derived_defaults import RULES
from bedsim.scenario.load import load_scenario
from bedsim.scenario.renumbered import FOLLOWERS, renumbered

NAMES = ("scenario", "ranges", "defaulted", "tree", "overridden", "resting")


@pytest.fixture
def read_again(monkeypatch):
    """Have `with_values` read a scenario again whatever is changed."""

    def again(loaded, values):
        with monkeypatch.context() as patch:
            patch.setattr(load, "renumbered", lambda *_: None)
            return loaded.with_values(values)

    return again


@pytest.mark.parametrize("name", ["bent-rolled-rolling-joints", "four-screws"])
def test_every_uncertain_number_replaced_is_the_scenario_read_again(name, read_again):
    loaded = load_scenario(f"scenarios/{name}.toml")
    changes = [{key.key: key.high} for key in loaded.ranges[::9]]
    changes += [draw.values(loaded.ranges) for draw in draws(2)]
    followed = [key for key in loaded.ranges if key.key in FOLLOWERS]
    for values in (*changes, *({key.key: key.low} for key in followed)):
        found, known = loaded.with_values(values), read_again(loaded, values)
        for part in NAMES:
            assert getattr(found, part) == getattr(known, part), (values, part)
        assert found.resolved_toml() == known.resolved_toml()


def test_most_numbers_are_replaced_and_what_others_follow_from_is_read_again(monkeypatch):
    loaded = load_scenario("scenarios/bent-rolled-rolling-joints.toml")
    told = []

    def counted(*given):
        found = renumbered(*given)
        told.append(found is None)
        return found

    monkeypatch.setattr(load, "renumbered", counted)
    for key in loaded.ranges[::3]:
        loaded.with_values({key.key: key.high})
        assert told.pop() == (key.key in FOLLOWERS), key.key


@pytest.mark.parametrize(
    ("key", "value"), [("guide.tilt_nm_per_rad", -1.0), ("screw.root_diameter_mm", 1e4), ("bed.mass_kg", "x")]
)
def test_a_number_that_cannot_be_is_refused_in_the_same_words(key, value, read_again):
    loaded = load_scenario("scenarios/bent-rolled-rolling-joints.toml")
    with pytest.raises(InputError) as known:
        read_again(loaded, {key: value})
    with pytest.raises(InputError) as found:
        loaded.with_values({key: value})
    assert str(found.value) == str(known.value)


def test_every_number_that_a_rule_asks_for_is_one_that_others_follow_from():
    class Asked(dict):
        """A table that says which of its keys were asked for."""

        def get(self, key, default=None):
            asked.add(f"{self['part']}.{key}")
            return super().get(key, default)

    loaded = load_scenario("scenarios/bent-rolled-rolling-joints.toml")
    asked: set[str] = set()
    corner = {
        part: Asked(table, part=part)
        for part, table in loaded.scenario.corner[0].model_dump().items()
        if isinstance(table, dict)
    }
    corner["frame"] |= {"section": "30x30"}
    for rules in RULES.values():
        for rule, _, _ in rules.values():
            rule(corner)
    chosen = {"screw.kind", "screw.starts", "screw.bearing_arrangement", "screw.ends", "coupling.kind"}
    numbers = asked - chosen - {"frame.section", "frame.post"}
    assert numbers == set(FOLLOWERS) - {"bed.size_x_mm", "bed.size_y_mm"}
