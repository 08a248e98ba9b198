"""Files read and written: what is read is a regular file of bounded size, what is written appears complete or
not at all.

A file is written beside its place, flushed to the disk and renamed.  A full disk, a killed process or a power
cut leaves the old file or none, never half of one.
"""

from __future__ import annotations

import contextlib
import contextvars
import os
import secrets
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import BinaryIO

from bedsim.errors import ResultFileError, UnreadableError

FileData = bytes | str | Sequence[bytes]
_LONGEST_STEM = 200  # bytes of a file's name kept in that of the part beside it: file systems allow 255

_noted: contextvars.ContextVar[list[Path] | None] = contextvars.ContextVar("noted", default=None)


@contextlib.contextmanager
def noting() -> Iterator[list[Path]]:
    """A list of the files that are written meanwhile, in this process, by the names that they were given."""
    found: list[Path] = []
    token = _noted.set(found)
    try:
        yield found
    finally:
        _noted.reset(token)


def write_file(path: Path, data: FileData, *, folder_too: bool = False) -> None:
    """Let a file of these bytes (in pieces or whole), or this text in UTF-8, appear at `path`; an older one
    of that name goes.

    Raises ResultFileError when it cannot be written; the older file, if any, stays as it was then.
    """
    write_files({path: data}, folder_too=folder_too)


def write_files(files: Mapping[Path, FileData], *, folder_too: bool = False) -> None:
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
        if (noted := _noted.get()) is not None:
            noted.extend(files)
    except OSError as fault:
        raise not_written(at, fault) from fault
    finally:
        for part in beside.values():
            with contextlib.suppress(OSError):
                part.unlink()


HDF5_SIGNATURE = b"\x89HDF\r\n\x1a\n"
"""First bytes of every result file.  Source: HDF5 file format specification, superblock (from memory)."""


def is_result(file: Path) -> bool:
    """Whether a file is a result: by its first bytes, by its name where it cannot be read."""
    try:
        with file.open("rb") as stream:
            return stream.read(len(HDF5_SIGNATURE)) == HDF5_SIGNATURE
    except OSError:  # the reader of its kind tells what is wrong
        return file.suffix in (".h5", ".hdf5")


LARGEST_TEXT = 2_000_000
"""Bytes of the largest text file that is read: readings, tables and scenarios of people are far below."""


def read_bytes(path: Path, largest: int = LARGEST_TEXT) -> bytes:
    """The bytes of a regular file.  Raises UnreadableError: a missing, foreign or very large one, a pipe or a
    device."""
    try:
        if path.exists() and not path.is_file():
            raise UnreadableError(path, "cannot be read: it is not a regular file")
        with path.open("rb") as stream:
            data = stream.read(largest + 1)
    except FileNotFoundError:
        raise UnreadableError(path, "cannot be read: no such file") from None
    except OSError as fault:
        raise UnreadableError(path, f"cannot be read: {reason(fault)}") from None
    except ValueError:  # a name with a zero byte
        raise UnreadableError(path, "cannot be read: its name is none") from None
    if len(data) > largest:
        raise UnreadableError(path, f"cannot be read: it is larger than {largest / 1e6:g} MB")
    return data


def read_text(path: Path) -> str:
    """The text of a regular file in UTF-8, with or without a mark at its start.  Raises UnreadableError."""
    return as_text(read_bytes(path), path)


def as_text(data: bytes, name: object) -> str:
    """Bytes in UTF-8 as text.  Raises UnreadableError that names the line."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = data[: fault.start].count(b"\n") + 1
        raise UnreadableError(name, f"line {line}: is not text in UTF-8") from None


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


def _write_through(beside: Path, data: bytes | Sequence[bytes]) -> None:
    """Write `beside`; where the system has files without a name it has none before it is complete."""
    handle = _nameless(beside.parent)
    if handle is not None:
        with os.fdopen(handle, "wb") as stream:
            _fill(stream, data)
            with contextlib.suppress(OSError):  # not on every file system
                # a descriptor makes Python follow the link, and is not looked at for a whole path
                os.link(f"/proc/self/fd/{handle}", beside, src_dir_fd=handle, follow_symlinks=True)
                return
    with beside.open("xb") as stream:
        _fill(stream, data)


def _nameless(folder: Path) -> int | None:
    """A new file in a folder that has no name yet; None where there are none, or no way to name them."""
    flag = getattr(os, "O_TMPFILE", None)
    if flag is None or not Path("/proc/self/fd").is_dir():
        return None
    with contextlib.suppress(OSError):
        return os.open(folder, flag | os.O_WRONLY, 0o666)
    return None


def _fill(stream: BinaryIO, data: bytes | Sequence[bytes]) -> None:
    stream.writelines([data] if isinstance(data, bytes) else data)
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
