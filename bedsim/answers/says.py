"""What models of answers have in common."""

from __future__ import annotations

import math
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict


def _known(value: Any) -> Any:
    """Null for what is no number or has no end."""
    return None if value is None or not math.isfinite(value) else float(value)


Number = Annotated[float | None, BeforeValidator(_known)]


class Says(BaseModel):
    """Nothing but what is stated."""

    model_config = ConfigDict(extra="forbid")
