"""What every table of a scenario file is built from: frozen, unknown keys refused, numbers with a range."""

from __future__ import annotations

import ast
import copy
import inspect
import textwrap
from collections.abc import Iterator, Mapping
from functools import cache
from itertools import pairwise
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator
from pydantic_core import PydanticCustomError

from bedsim.number_text import number

SMALLEST = 1e-12
"""Of a number that is not 0, in its own unit."""
LARGEST = {"mm": 1e5, "um": 1e6, "kg": 1e5, "k": 1e4, "s": 1e7, "deg": 1e4, "rpm": 1e6}
"""By the unit at the end of a key, in that unit: far beyond any machine, far within what can be computed."""
LARGEST_OTHER = 1e13


def largest(key: str) -> float:
    """The largest size of a number under a key."""
    return LARGEST_OTHER if "_per_" in key else LARGEST.get(key.rpartition("_")[2], LARGEST_OTHER)


class Section(BaseModel):
    """One table of the file: frozen, unknown keys refused, numbers within bounds."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    @field_validator("*")
    @classmethod
    def _bounded(cls, value: Any, info: ValidationInfo) -> Any:
        if isinstance(value, bool) or not isinstance(value, int | float) or value == 0:
            return value
        most = largest(info.field_name or "")
        if abs(value) > most:
            rule = f"must be at most {number(most)}" if value > 0 else f"must be at least {number(-most)}"
            raise PydanticCustomError("out_of_bounds", "{rule}", {"rule": rule})
        if abs(value) < SMALLEST:
            raise PydanticCustomError(
                "out_of_bounds", "{rule}", {"rule": f"must be 0 or at least {number(SMALLEST)} in size"}
            )
        return value


Positive = Annotated[float, Field(gt=0)]
NonNegative = Annotated[float, Field(ge=0)]
Angle = Annotated[float, Field(ge=-360, le=360)]
Height = Annotated[float, Field(ge=-2000, le=2000)]
Name = Annotated[str, Field(min_length=1, max_length=40, pattern=r"^\w[\w \-]*$")]


@cache
def sentences(table: type[Section]) -> Mapping[str, str]:
    """The sentence under every key of a table in its source.  It is read when first asked for: to read all at
    import takes as long as the tables themselves."""
    found: dict[str, str] = {}
    for base in reversed(table.__mro__):
        if issubclass(base, Section) and base is not Section:
            body = ast.parse(textwrap.dedent(inspect.getsource(base))).body[0]
            assert isinstance(body, ast.ClassDef)
            found.update(_under_keys(body))
    return found


def _under_keys(table: ast.ClassDef) -> Iterator[tuple[str, str]]:
    for key, text in pairwise(table.body):
        if isinstance(key, ast.AnnAssign) and isinstance(key.target, ast.Name):
            value = text.value if isinstance(text, ast.Expr) else None
            if isinstance(value, ast.Constant) and isinstance(value.value, str):
                yield key.target.id, inspect.cleandoc(value.value)


def json_schema(table: type[Section]) -> dict[str, Any]:
    """JSON Schema of a table and those within it, with the sentences under their keys."""
    schema = copy.deepcopy(table.model_json_schema())
    tables = {one.__name__: one for one in _made_of(Section)}
    for name, part in ((table.__name__, schema), *schema.get("$defs", {}).items()):
        own = sentences(tables[name]) if name in tables else {}
        for key, entry in part.get("properties", {}).items():
            told = {"description": own[key]} if key in own else {}
            part["properties"][key] = dict(sorted((entry | told).items()))
    return schema


def _made_of(table: type[Section]) -> Iterator[type[Section]]:
    for one in table.__subclasses__():
        yield one
        yield from _made_of(one)
