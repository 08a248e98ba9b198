"""A TOML file in, its text and its tree out; whatever keeps it from being read told in one message."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from bedsim.errors import InputError
from bedsim.files import HDF5_SIGNATURE, as_text, read_bytes
from bedsim.scenario.keys import nearest
from bedsim.scenario.tree import DeepTomlError, Tree, toml_tree


def read_toml(file: Path) -> tuple[str, Tree]:
    """Text of a file and the tree in it.  Raises InputError for a file that cannot be read."""
    if not file.exists():
        raise InputError(f"{file}: no such file. {_meant(file)}".rstrip())
    data = read_bytes(file)
    if data.startswith(HDF5_SIGNATURE):
        raise InputError(
            f"{file}: is a result file (HDF5), and a text file (TOML) belongs here. bedsim report and bedsim "
            "compare take results of bedsim run; the scenario stands inside, and the report shows it."
        )
    text = as_text(data, file)
    return text, parse_toml(text, str(file))


def parse_toml(text: str, name: str) -> Tree:
    """The tree in a text; messages call it `name`."""
    try:
        return toml_tree(text)
    except DeepTomlError as fault:
        raise InputError(f"{name}: {fault}.") from None
    except tomllib.TOMLDecodeError as error:
        if _is_table_of_readings(text):
            raise InputError(
                f"{name}: looks like a table of readings (CSV), and a text file of keys (TOML) belongs here."
            ) from None
        raise InputError(f"{name}: {_syntax(str(error), text)}") from None


def _meant(file: Path) -> str:
    """A file beside with a near name; the common ending makes no name near."""
    names = {p.stem: p for p in sorted(file.parent.glob("*.toml"))} if file.parent.is_dir() else {}
    near = nearest(file.stem, names)
    return f"Did you mean {names[near]}?" if near else ""


def _is_table_of_readings(text: str) -> bool:
    """Whether the first line beside notes is made of words with commas between them."""
    lines = (line.strip() for line in text.splitlines())
    first = next((line for line in lines if line and not line.startswith("#")), "")
    return re.fullmatch(r"\w+(\s*[,;]\s*\w+)+", first) is not None


def _syntax(message: str, text: str) -> str:
    found = re.search(r"\s*\(at line (\d+), column (\d+)\)", message)
    if found is None:
        line = max(len(text.splitlines()), 1)
        return (
            f"line {line}: is not TOML: {message.replace(' (at end of document)', ', the file ends here')}."
        )
    line = int(found[1])
    written = text.splitlines()[line - 1].strip() if line <= len(text.splitlines()) else ""
    hint = "Numbers are written with a decimal point." if re.search(r"=\s*-?\d+,\d", written) else ""
    place = f"line {line}, column {found[2]}"
    return f"{place}: is not TOML: {message[: found.start()]}: {written[:60]}. {hint}".rstrip()
