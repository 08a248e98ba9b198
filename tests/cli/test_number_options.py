"""Numbers on the command line: none is let in that is no number, in whatever command."""

import click
import pytest

from bedsim.cli.main import COMMANDS, group, main
from bedsim.cli.number_option import Number


def _options():
    for name in COMMANDS:
        command = group.get_command(click.Context(group), name)
        for option in command.params:
            if isinstance(option, click.Option):
                yield name, option


OPTIONS = list(_options())
NUMBERS = [(name, max(o.opts, key=len)) for name, o in OPTIONS if isinstance(o.type, Number)]


def test_every_option_that_is_a_number_is_of_the_type_that_checks():
    unchecked = (click.types.FloatParamType, click.FloatRange)
    found = [name for name, o in OPTIONS if isinstance(o.type, unchecked)]
    assert set(found) <= {"new"}  # its answers are keys, which the scenario checks
    assert len(NUMBERS) > 8


@pytest.mark.parametrize(("command", "option"), NUMBERS)
@pytest.mark.parametrize(
    ("value", "told"),
    [("nan", "nan"), ("-inf", "-inf"), ("1e400", "inf"), ("-1", "-1"), ("five", '"five"')],
)
def test_what_is_no_number_is_told(capsys, command, option, value, told):
    assert main([command, option, value, "a.toml", "b.toml"]) == 2
    said = capsys.readouterr().err
    assert said.startswith(f"{option} = {told}: must be ") and said.count("\n") == 1


def test_bounds_are_told():
    assert Number(above=0).rule == "above 0 and at most 1e+09"
    assert Number(least=0.05, below=1).rule == "at least 0.05 and below 1"
    assert Number(above=0, most=85).convert("85", None, None) == 85.0
