"""One list of everything wrong with a scenario, in one form: `file: key = value: rule. hint`."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

from pydantic_core import ErrorDetails

from bedsim.errors import InputError
from bedsim.number_text import number
from bedsim.scenario.keys import nearest, unknown_key_hint

MISSING: Any = object()
UNKNOWN = "unknown key"
MOST_UNKNOWN = 20
LONGEST_KEY = 100  # characters of a key that are shown

_HINTS = {
    "lead_mm": 'A left-hand screw has hand = "left".',
    "tir_um": "A total indicator reading has no sign; its direction goes into the *_deg key.",
}


def shown(value: Any) -> str:
    """Write a value as the user would in the file, shortened."""
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, str):
        text = json.dumps(value, ensure_ascii=False)
    elif isinstance(value, Mapping):
        text = "{" + ", ".join(f"{k} = {shown(v)}" for k, v in value.items()) + "}"
    elif isinstance(value, list | tuple):
        text = "[" + ", ".join(shown(v) for v in value) + "]"
    else:
        text = number(value, 6) if isinstance(value, float) and math.isfinite(value) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."


class Faults:
    """Collects the faults of one source; each key and rule is told once.

    `overridden`: keys that were given on the command line, each with its option.
    """

    def __init__(self, source: str, overridden: Mapping[str, str] | None = None) -> None:
        self._source = source
        self._overridden = overridden or {}
        self._lines: dict[str, None] = {}

    def __bool__(self) -> bool:
        return bool(self._lines)

    def add(self, key: str, rule: str, *, value: Any = MISSING, hint: str = "") -> None:
        """Note one fault; `value` is left out where there is none to show."""
        options = [o for k, o in self._overridden.items() if key == k or key.startswith(k + ".")]
        where = options[-1] if options else self._source
        key = key if len(key) <= LONGEST_KEY else f"{key[:LONGEST_KEY]}..."
        place = f"{key} = {shown(value)}" if value is not MISSING else key
        end = "" if rule.endswith("?") else "."
        line = f"{where}: {place}: {rule}{end}" if key else f"{where}: {rule}{end}"
        self._lines.setdefault(f"{line} {hint}".rstrip())

    def raise_if_any(self) -> None:
        """Raise one `InputError` that lists every fault; do nothing if there is none."""
        if self._lines:
            raise InputError("\n".join(_first_unknown(list(self._lines))))


def _first_unknown(lines: list[str]) -> list[str]:
    """All lines but those of unknown keys beyond the first: a file of another kind has nothing else."""
    unknown = [line for line in lines if UNKNOWN in line]
    if len(unknown) <= MOST_UNKNOWN:
        return lines
    dropped = set(unknown[MOST_UNKNOWN:])
    return [*(line for line in lines if line not in dropped), f"... and {len(dropped)} more unknown keys."]


def _hint_for(key: str) -> str:
    name = key.rsplit(".", 1)[-1]
    return next((hint for ending, hint in _HINTS.items() if name.endswith(ending)), "")


def rule_and_hint(error: ErrorDetails, key: str) -> tuple[str, str]:
    """Translate one error of the validation library into our words."""
    kind, context = error["type"], error.get("ctx", {})
    limit = {k: number(v, 6) for k, v in context.items() if isinstance(v, int | float)}
    rules = {
        "greater_than": f"must be > {limit.get('gt')}",
        "greater_than_equal": f"must be at least {limit.get('ge')}",
        "less_than": f"must be < {limit.get('lt')}",
        "less_than_equal": f"must be at most {limit.get('le')}",
        "float_type": "must be a number or a table {low, likely, high, basis}",
        "int_type": "must be a whole number",
        "finite_number": "must be finite",
        "string_type": "must be text in quotes",
        "string_too_short": "must not be empty",
        "string_too_long": f"must be at most {limit.get('max_length')} characters long",
        "string_pattern_mismatch": "may only hold letters, digits, spaces, - and _",
        "model_type": "must be a table",
        "dict_type": "must be a table",
        "model_attributes_type": "must be a table",
        "tuple_type": "must be a list",
        "missing": "is missing",
    }
    if kind == "literal_error":
        choices = [c.strip("'") for c in str(context["expected"]).replace(" or ", ", ").split(", ")]
        near = nearest(str(error["input"]), choices)
        return "must be one of " + ", ".join(choices), f'Did you mean "{near}"?' if near else ""
    if kind == "extra_forbidden":
        return UNKNOWN, unknown_key_hint(error["loc"])
    if kind == "value_error":
        return str(context["error"]), ""
    if kind == "too_short":
        return f"must have at least {context['min_length']} entries", ""
    if kind == "too_long":
        return f"must have at most {context['max_length']} entries", ""
    return rules.get(kind, error["msg"]), _hint_for(key) if kind.startswith("greater_than") else ""
