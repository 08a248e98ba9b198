"""Kinds from outside the package: a user's file is read, and what it registers is checked.

A file that cannot be used leaves nothing behind, and says why in one sentence.
"""

from __future__ import annotations

import linecache
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import ModuleType
from typing import cast

from pydantic.fields import FieldInfo

from bedsim import registry
from bedsim.errors import BedsimError, InputError
from bedsim.registry import Kind, OutsideFile
from bedsim.scenario import idle, keys
from bedsim.scenario.defaults import default_ranges
from bedsim.scenario.derived_defaults import RULES
from bedsim.scenario.keys import PARTS, field_at, is_number, section_of, unit_of, value_adapter
from bedsim.scenario.schema import Corner
from bedsim.scenario.section import Section, sentences

PLAIN_NUMBERS = ("_ratio", "_coefficient", "_share", "_factor")
"""Endings of numbers that have no unit."""


_READING: list[str] = []  # modules of the files that are being read


def load_kinds(path: str | Path) -> tuple[Kind, ...]:
    """Read a user's file of kinds; a file that was read already gives none again.

    Raises InputError with one sentence where it cannot be read, raises by itself, or registers what is no
    whole kind.
    """
    file = Path(path)
    known = {outside.module: outside for outside in registry.outside_files()}
    module = f"bedsim_kinds_{file.stem}"
    if module in known:
        if known[module].path == file.resolve():
            return ()
        raise InputError(f"{file}: kinds of a file of this name are in use already ({known[module].path}).")
    try:
        text = file.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as fault:
        raise InputError(f"{file}: cannot be read: {getattr(fault, 'strerror', None) or fault}.") from None
    before = {
        kind.part: registry.names(kind.part) for part in registry.parts() for kind in registry.kinds(part)
    }
    registry.note_file(OutsideFile(module, file.resolve(), text))
    try:
        _execute(module, file, text)
    except BaseException:
        _take_back(module, before)
        raise
    found = tuple(_added(before))
    if not found:
        _take_back(module, before)
        raise InputError(f"{file}: registers no kind. End it with bedsim.register_kind(...).")
    return found


def load_as(files: Sequence[OutsideFile]) -> None:
    """Have the kinds of another process here too, from the text that was read there."""
    for file in files:
        if file.module not in {known.module for known in registry.outside_files()}:
            registry.note_file(file)
            _execute(file.module, file.path, file.text)


def register_kind(kind: Kind) -> None:
    """Register a kind of a part; to be called in a file that `load_kinds` or --kinds reads.

    Raises InputError where the kind is not whole, or its part has one of this name.
    """
    if not _READING:
        raise InputError("register_kind is called in a file that bedsim.load_kinds or --kinds reads.")
    fault = next(_faults(kind), "")
    if fault:
        raise InputError(f"{fault}.")
    registry.add(kind)
    _ask_anew()
    try:
        lacking = next(_lacking(kind), "")
        if lacking:
            raise InputError(f"{kind.part}.kind = {kind.name}: {lacking}.")
    except BaseException:
        registry.remove(kind)
        _ask_anew()
        raise


def _execute(name: str, file: Path, text: str) -> None:
    module, place = ModuleType(name), str(file.resolve())
    module.__file__ = place
    sys.modules[name] = module  # before it runs: its classes are looked up there
    # the sentences under its keys are read from here, also where the file itself is not
    linecache.cache[place] = (len(text), None, text.splitlines(keepends=True), place)
    _READING.append(name)
    try:
        exec(compile(text, place, "exec"), module.__dict__)
    except BedsimError as fault:
        raise InputError(f"{file}: {fault}") from None
    except (Exception, SystemExit) as fault:
        words = " ".join(str(fault).split()) or "no more is said"
        raise InputError(f"{file}: cannot be used: {type(fault).__name__}: {words}.") from None
    finally:
        _READING.remove(name)


def _added(before: dict[str, tuple[str, ...]]) -> Iterator[Kind]:
    for part in registry.parts():
        yield from (kind for kind in registry.kinds(part) if kind.name not in before.get(part, ()))


def _take_back(module: str, before: dict[str, tuple[str, ...]]) -> None:
    for kind in list(_added(before)):
        registry.remove(kind)
    registry.forget_file(module)
    _ask_anew()


def _ask_anew() -> None:
    keys.forget_kinds()
    idle.forget_kinds()


def _faults(kind: Kind) -> Iterator[str]:
    """What a kind lacks before it can be registered at all."""
    if not isinstance(kind, Kind) or kind.part not in registry.open_parts():
        told = f"{kind.part}.kind = {kind.name}" if isinstance(kind, Kind) else f"register_kind({kind!r})"
        yield f"{told}: is no kind of {', '.join(registry.open_parts())}"
        return
    place = f"{kind.part}.kind = {kind.name}"
    if not str(kind.name).isidentifier():
        yield f"{place}: a kind is named by letters, digits and _"
    if not kind.sentence:
        yield f"{place}: has no sentence that tells what it is"
    for name in kind.functions:
        function = getattr(kind, name)
        if not (callable(function) or function is None):
            yield f"{place}: {name} is no function"
    if kind.keys is None:
        return
    if not kind.may_add_keys:
        yield f"{place}: a kind of {kind.part} has no keys of its own"
        return
    common = section_of(Corner.model_fields[kind.part])
    assert common is not None
    if not (isinstance(kind.keys, type) and issubclass(kind.keys, common)):
        yield f"{place}: keys must be a class made from {common.__name__}"
        return
    yield from (f"{place}: {fault}" for fault in _key_faults(kind, common))


def _key_faults(kind: Kind, common: type[Section]) -> Iterator[str]:
    assert kind.keys is not None
    told = sentences(cast(type[Section], kind.keys))
    for key in kind.keys.__annotations__:
        if key in keys.fields_of(common):
            yield f"{key} is a key of {kind.part} already"
            continue
        field: FieldInfo = kind.keys.model_fields[key]
        if not told.get(key):
            yield f"{key} has no sentence under it"
        if is_number(field) and not unit_of(key) and not key.endswith(PLAIN_NUMBERS):
            yield f"{key} has no unit in its name, as in {key}_mm"
        if field.is_required() and key not in kind.defaults:
            yield f"{key} has no default"


def _lacking(kind: Kind) -> Iterator[str]:
    """What a kind lacks of its part: a key without default, a key that there is not, a value out of range."""
    table = section_of(Corner.model_fields[kind.part])
    assert table is not None
    known, defaults = keys.fields_of(table), default_ranges(kind.part, kind.name)
    for key in (*kind.defaults, *kind.needed):
        if key not in known:
            yield f"{key} is no key of {kind.part}"
    for key in (key for group in kind.idle.values() for key in group):
        steps = key.split(".")
        if not _is_key(steps):
            yield f"{key} is no key, and cannot do nothing beside it"
    others = keys.own_keys(kind.part)
    for key, field in known.items():
        given = key in defaults or key in kind.needed or key in RULES.get(kind.part, {})
        if field.is_required() and key != "kind" and not given and key not in others:
            yield f"{key} has no default: give one, or say under idle that it does nothing"
    for key, default in kind.defaults.items():
        if not default.low <= default.likely <= default.high:
            yield f"{key}: low <= likely <= high does not hold"
        yield from _out_of_range(kind, key, default.low, default.likely, default.high)


def _is_key(steps: Sequence[str]) -> bool:
    loc: tuple[str | int, ...] = ("corner", 0, *steps) if steps[0] in PARTS else tuple(steps)
    return field_at(loc) is not None or field_at((*loc[:-1], 0, loc[-1])) is not None


def _out_of_range(kind: Kind, key: str, *values: float) -> Iterator[str]:
    adapter = value_adapter(("corner", 0, kind.part, key))
    for value in values:
        try:
            adapter.validate_python(value)
        except ValueError:
            yield f"{key}: a default of {value:g} is outside what the key allows"
