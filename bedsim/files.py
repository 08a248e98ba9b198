"""Files that appear complete or not at all: written beside their place, flushed to the disk, renamed.

A full disk, a killed process or a power cut leaves the old file or none, never half of one.
"""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Mapping
from pathlib import Path
from typing import BinaryIO

from bedsim.errors import ResultFileError

_LONGEST_STEM = 200  # bytes of a file's name kept in that of the part beside it: file systems allow 255


def write_file(path: Path, data: bytes | str, *, folder_too: bool = False) -> None:
    """Let a file of these bytes, or this text in UTF-8, appear at `path`; an older one of that name goes.

    Raises ResultFileError when it cannot be written; the older file, if any, stays as it was then.
    """
    write_files({path: data}, folder_too=folder_too)


def write_files(files: Mapping[Path, bytes | str], *, folder_too: bool = False) -> None:
    """Let several files appear, the first of them last: who finds it finds the others.

    Raises ResultFileError when one cannot be written; none has appeared then unless a rename itself fails.
    """
    beside: dict[Path, Path] = {}
    at = next(iter(files))
    try:
        for path, data in files.items():
            at = path
            target = _writable_target(path, folder_too)
            beside[target] = target.with_name(_part_name(target))
            _write_through(beside[target], data.encode("utf-8") if isinstance(data, str) else data)
        for target, part in reversed(beside.items()):
            os.replace(part, target)  # noqa: PTH105 (the system call that the promise rests on)
        for folder in {target.parent for target in beside}:
            _sync_folder(folder)
    except OSError as fault:
        raise not_written(at, fault) from fault
    finally:
        for part in beside.values():
            with contextlib.suppress(OSError):
                part.unlink()


def make_folder(folder: Path) -> Path:
    """Make a folder and those above it, and give it back.  Raises ResultFileError."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise ResultFileError(f"{folder}: cannot be made: {reason(fault)}.") from None
    return folder


def not_written(path: Path, fault: OSError) -> ResultFileError:
    """The one sentence of a file or folder that cannot be written."""
    return ResultFileError(f"{path}: cannot be written: {reason(fault)}.")


def reason(fault: OSError) -> str:
    """What the system says of a fault, without a full stop."""
    return (fault.strerror or str(fault) or type(fault).__name__).rstrip(".")


def _writable_target(path: Path, folder_too: bool) -> Path:
    target = Path(path).resolve()
    if target.exists() and not target.is_file():
        raise ResultFileError(f"{path}: cannot be written: it is not a regular file.")
    if folder_too:
        target.parent.mkdir(parents=True, exist_ok=True)
    if not target.parent.is_dir():
        raise ResultFileError(f"{path}: cannot be written: the folder {target.parent} does not exist.")
    return target


def _part_name(target: Path) -> str:
    stem = target.name.encode("utf-8")[:_LONGEST_STEM].decode("utf-8", "ignore")
    return f".{stem}.{secrets.token_hex(4)}.part"


def _write_through(beside: Path, data: bytes) -> None:
    """Write `beside`; where the system has files without a name it has none before it is complete."""
    handle = _nameless(beside.parent)
    if handle is None:
        with beside.open("xb") as stream:
            _fill(stream, data)
        return
    with os.fdopen(handle, "wb") as stream:
        _fill(stream, data)
        # the folder's descriptor makes Python follow the link, and is not looked at for a whole path
        os.link(f"/proc/self/fd/{handle}", beside, src_dir_fd=handle, follow_symlinks=True)


def _nameless(folder: Path) -> int | None:
    """A new file in a folder that has no name yet; None where there are none, or no way to name them."""
    flag = getattr(os, "O_TMPFILE", None)
    if flag is None or not Path("/proc/self/fd").is_dir():
        return None
    with contextlib.suppress(OSError):
        return os.open(folder, flag | os.O_WRONLY, 0o666)
    return None


def _fill(stream: BinaryIO, data: bytes) -> None:
    stream.write(data)
    stream.flush()
    os.fsync(stream.fileno())


def _sync_folder(folder: Path) -> None:
    """Make the rename last through a power cut, where folders can be opened (not on Windows)."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
