"""One list of everything wrong with a scenario, in one form: `file: key = value: rule. hint`."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from pydantic_core import ErrorDetails

from bedsim.errors import InputError
from bedsim.scenario.keys import nearest, unknown_key_hint

MISSING: Any = object()

_HINTS = {
    "lead_mm": 'A left-hand screw has hand = "left".',
    "diameter_mm": "",
    "tir_um": "A total indicator reading is twice the offset and has no sign; the direction goes into the *_deg key.",
    "corner": "A bed hangs on three screws or more: one [[corner]] table for each.",
    "basis": "",
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
        text = f"{value:g}" if isinstance(value, float) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."


class Faults:
    """Collects the faults of one source; each key and rule is told once."""

    def __init__(self, source: str, overridden: tuple[str, ...] = ()) -> None:
        self._source = source
        self._overridden = overridden
        self._lines: dict[str, None] = {}

    def __bool__(self) -> bool:
        return bool(self._lines)

    def add(self, key: str, rule: str, *, value: Any = MISSING, hint: str = "") -> None:
        """Note one fault; `value` is left out where there is none to show."""
        where = (
            "--set" if any(key == k or key.startswith(k + ".") for k in self._overridden) else self._source
        )
        place = f"{key} = {shown(value)}" if value is not MISSING else key
        line = f"{where}: {place}: {rule}." if key else f"{where}: {rule}."
        self._lines.setdefault(f"{line} {hint}".rstrip())

    def raise_if_any(self) -> None:
        """Raise one `InputError` that lists every fault; do nothing if there is none."""
        if self._lines:
            raise InputError("\n".join(self._lines))


def _hint_for(key: str) -> str:
    name = key.rsplit(".", 1)[-1]
    return next((hint for ending, hint in _HINTS.items() if name.endswith(ending)), "")


def _limit(text: str) -> str:
    return f"must be {text}"


def rule_and_hint(error: ErrorDetails, key: str) -> tuple[str, str]:
    """Translate one error of the validation library into our words."""
    kind, context = error["type"], error.get("ctx", {})
    number = {k: f"{v:g}" for k, v in context.items() if isinstance(v, int | float)}
    rules = {
        "greater_than": lambda: _limit(f"> {number['gt']}"),
        "greater_than_equal": lambda: _limit(f"at least {number['ge']}"),
        "less_than": lambda: _limit(f"< {number['lt']}"),
        "less_than_equal": lambda: _limit(f"at most {number['le']}"),
        "float_type": lambda: _limit("a number or a table {low, likely, high, basis}"),
        "int_type": lambda: _limit("a whole number"),
        "finite_number": lambda: _limit("finite"),
        "string_type": lambda: _limit("text in quotes"),
        "string_too_short": lambda: "must not be empty",
        "string_too_long": lambda: _limit(f"at most {number['max_length']} characters long"),
        "string_pattern_mismatch": lambda: "may only hold letters, digits, spaces, - and _",
        "model_type": lambda: _limit("a table"),
        "dict_type": lambda: _limit("a table"),
        "model_attributes_type": lambda: _limit("a table"),
        "tuple_type": lambda: _limit("a list"),
        "missing": lambda: "is missing",
        "extra_forbidden": lambda: "unknown key",
    }
    if kind == "literal_error":
        choices = [c.strip("'") for c in str(context["expected"]).replace(" or ", ", ").split(", ")]
        near = nearest(str(error["input"]), choices)
        return "must be one of " + ", ".join(choices), f'Did you mean "{near}"?' if near else ""
    if kind == "extra_forbidden":
        return "unknown key", unknown_key_hint(error["loc"])
    if kind == "value_error":
        return str(context["error"]), ""
    if kind == "too_short":
        count = context["actual_length"]
        return f"{count} given, at least {context['min_length']} needed", _hint_for(key)
    rule = rules[kind]() if kind in rules else error["msg"]
    return rule, _hint_for(key)
