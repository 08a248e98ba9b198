"""Whatever stands in place of a value, a scenario loads or is refused with a sentence."""

import contextlib
import copy
import tomllib
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from bedsim.errors import InputError
from bedsim.scenario.load import load_scenario, scenario_from_tree

FOLDER = Path(__file__).parents[2] / "scenarios"
TREE = tomllib.loads((FOLDER / "gauge-readings.toml").read_text(encoding="utf-8"))

SCALARS = st.one_of(
    st.booleans(),
    st.integers(-(10**20), 10**20),
    st.floats(),
    st.text(max_size=8),
    st.dates(),
    st.sampled_from(
        ["plain", "wheels", "rolling", "air_film", "gauge-readings/back.csv", "..", "\0", "x" * 300]
    ),
)
RANGE = st.dictionaries(st.sampled_from(["low", "likely", "high", "basis", "hgh"]), SCALARS, max_size=5)
VALUES = st.recursive(
    SCALARS | RANGE,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=6,
)
KEYS = st.sampled_from(
    ["kind", "name", "x_mm", "table", "run_out", "screw", "guide", "corner", "element", "starts", "zz"]
)


def _places(value: Any, steps: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [steps] * bool(steps) + [place for key, item in inner for place in _places(item, (*steps, key))]


PLACES = _places(TREE)


def _put(tree: Any, place: tuple[Any, ...], value: Any, added: str | None) -> None:
    for step in place[:-1]:
        tree = tree[step]
    if added is not None and isinstance(tree, dict):
        tree[added] = value
    elif value is None:
        del tree[place[-1]]
    else:
        tree[place[-1]] = value


@settings(max_examples=100, deadline=None)
@given(st.sampled_from(PLACES), VALUES | st.none(), st.none() | KEYS)
def test_a_tree_with_one_odd_value_loads_or_is_refused(place, value, added):
    tree = copy.deepcopy(TREE)
    _put(tree, place, value, added if value is not None else None)
    try:
        loaded = scenario_from_tree(tree, folder=FOLDER, source="", name="odd.toml")
    except InputError as error:
        assert all(line.startswith("odd.toml: ") for line in str(error).split("\nodd.toml")[:1])
    else:
        text = loaded.resolved_toml()
        again = scenario_from_tree(tomllib.loads(text), folder=FOLDER, source=text, name="again")
        assert again.scenario == loaded.scenario


@settings(max_examples=50, deadline=None)
@given(st.text(max_size=30), st.text(max_size=12))
def test_any_override_is_taken_or_refused(key, value):
    with contextlib.suppress(InputError):
        load_scenario(FOLDER / "bent-rolled-rigid.toml", [f"{key}={value}"])


@settings(max_examples=50, deadline=None)
@given(st.sampled_from(PLACES), st.text(max_size=12))
def test_any_value_for_a_real_key_is_taken_or_refused(place, value):
    key = ".".join(str(step) for step in place)
    with contextlib.suppress(InputError):
        load_scenario(FOLDER / "gauge-readings.toml", [f"{key}={value}"])
