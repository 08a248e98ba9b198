"""JSON Schema of what `--json` prints; `python -m bedsim.answers.schema` writes it for all commands."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pydantic import create_model

from bedsim.answers.models import MODELS, Document

FILE = Path(__file__).with_name("schemas.json")


def document_schema(command: str) -> dict[str, Any]:
    """JSON Schema of one command's document."""
    answer: Any = (MODELS[command] | None, ...)
    made = create_model(f"{command}_document", __base__=Document, answer=answer)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **made.model_json_schema()}


def text() -> str:
    """The schemas of all commands, by command."""
    found = {command: document_schema(command) for command in MODELS}
    return json.dumps(found, indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8")
