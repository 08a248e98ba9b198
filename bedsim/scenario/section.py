"""What every table of a scenario file is built from: frozen, unknown keys refused, numbers with a range."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field


class Section(BaseModel):
    """One table of the file: frozen, unknown keys refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", use_attribute_docstrings=True, allow_inf_nan=False)


Positive = Annotated[float, Field(gt=0)]
NonNegative = Annotated[float, Field(ge=0)]
Angle = Annotated[float, Field(ge=-360, le=360)]
Height = Annotated[float, Field(ge=-2000, le=2000)]
Name = Annotated[str, Field(min_length=1, max_length=40, pattern=r"^\w[\w \-]*$")]
