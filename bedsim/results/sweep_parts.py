"""Finished parts of a sweep on disk beside its target, and the lock that keeps a second writer out.

Every part is a small HDF5 file of its own, written through to the disk and renamed, so that a killed process
loses only what it was just computing.  The lock dies with its process.
"""

from __future__ import annotations

import contextlib
import os
import re
import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np

from bedsim.errors import ResultFileError
from bedsim.files import make_folder, not_written
from bedsim.results.store import create_atomically, mark_file, open_checked
from bedsim.results.sweep import CellPart, KeyPart, MachinePart, Part

PART_TYPE = "bedsim sweep part"
FORMAT_VERSION = (1, 0)
_PART_NAME = re.compile(r"cell-(\d+)-(\d+)-(\d+)\.h5")
_DOUBT_NAME = re.compile(r"(machine|keys)-(\d+)-(\d+)\.h5")

_OF_MACHINE = ("share", "lot_share", "lateral", "height")


@dataclass(frozen=True, slots=True, kw_only=True)
class PartStore:
    """The folder of finished parts of one sweep, beside its target."""

    target: Path
    fingerprint: str  # of the plan
    program: str  # identity of the program

    @property
    def folder(self) -> Path:
        """Where the parts are."""
        return self.target.with_name(f".{self.target.name}.parts")

    def write(self, part: Part) -> None:
        """Keep a finished part. Raises ResultFileError if it cannot be written; earlier ones stay."""
        make_folder(self.folder)
        try:
            _write_part(part, self._path(part), self.fingerprint, self.program)
        except ResultFileError as fault:
            raise ResultFileError(
                f"{str(fault).rstrip('.')}. What was finished before is kept: "
                "give the same command again to go on."
            ) from fault

    def _path(self, part: Part) -> Path:
        if isinstance(part, MachinePart):
            return self.folder / f"machine-{part.cell:05d}-{part.machine:07d}.h5"
        if isinstance(part, KeyPart):
            return self.folder / f"keys-{part.cell:05d}-{part.first:07d}.h5"
        return self.folder / f"cell-{part.cell:05d}-{part.first:07d}-{part.first + part.members:07d}.h5"

    def finished(self) -> dict[tuple[int, int, int], Path]:
        """Finished parts by (cell, first member, one past the last); a damaged one counts as not finished.

        Raises ResultFileError if they belong to another plan.
        """
        found = {}
        for path in self._files():
            match = _PART_NAME.fullmatch(path.name)
            if match is not None and self._program_of(path) == self.program:
                found[int(match[1]), int(match[2]), int(match[3])] = path
        return found

    def finished_doubt(self) -> dict[tuple[str, int, int], Path]:
        """Likewise the parts on what is not known of the machine, by ("machine", cell, machine) and ("keys",
        cell, first key)."""
        found = {}
        for path in self._files():
            match = _DOUBT_NAME.fullmatch(path.name)
            if match is not None and self._program_of(path) == self.program:
                found[match[1], int(match[2]), int(match[3])] = path
        return found

    def set_aside(self) -> Path | None:
        """Move parts that another program made out of the way; where they are now, None: there were none.

        Raises ResultFileError if parts belong to another plan or cannot be moved.
        """
        others = [path for path in self._files() if self._program_of(path) not in ("", self.program)]
        if not others:
            return None
        aside = self.folder.with_name(f"{self.folder.name}-of-another-program-{secrets.token_hex(3)}")
        try:
            aside.mkdir()
            for path in others:
                path.rename(aside / path.name)
        except OSError as fault:
            raise not_written(aside, fault) from None
        return aside

    def _files(self) -> list[Path]:
        if not self.folder.is_dir():
            return []
        return sorted(
            path for kind in ("cell", "machine", "keys") for path in self.folder.glob(f"{kind}-*.h5")
        )

    def _program_of(self, path: Path) -> str:
        """Identity of the program that made a part; "" where the part is damaged."""
        try:
            with open_checked(path, PART_TYPE, FORMAT_VERSION) as file:
                plan, program = str(file.attrs["fingerprint"]), str(file.attrs.get("program", "unknown"))
        except ResultFileError:
            return ""
        if plan != self.fingerprint:
            raise ResultFileError(
                f"{self.folder}: holds finished cells of another plan. Give another --output, or remove that "
                "folder."
            )
        return program

    def read(self, path: Path) -> CellPart:
        """Read a part back."""
        return _read_part(path)

    def read_machine(self, path: Path) -> MachinePart:
        """Read back what a drawn machine gave."""
        with open_checked(path, PART_TYPE, FORMAT_VERSION) as file:
            cell, machine, members = (int(file.attrs[name]) for name in ("cell", "machine", "members"))
            found = {name: float(file.attrs[name]) for name in _OF_MACHINE}
        return MachinePart(cell=cell, machine=machine, members=members, **found)

    def read_keys(self, path: Path) -> KeyPart:
        """Read back what keys do."""
        with open_checked(path, PART_TYPE, FORMAT_VERSION) as file:
            whole = {name: int(file.attrs[name]) for name in ("cell", "first")}
            return KeyPart(**whole, change=file["change"][()], extent=file["extent"][()])

    def remove(self) -> None:
        """Take the parts away, after the whole has been written."""
        for path in self.folder.glob("*") if self.folder.is_dir() else []:
            path.unlink(missing_ok=True)
        with contextlib.suppress(OSError):
            self.folder.rmdir()


def _write_part(part: Part, path: Path, fingerprint: str, program: str) -> None:
    with create_atomically(path) as file:
        mark_file(file, PART_TYPE, FORMAT_VERSION)
        file.attrs["fingerprint"], file.attrs["program"] = fingerprint, program
        file.attrs["cell"] = np.int64(part.cell)
        if isinstance(part, MachinePart):
            file.attrs["machine"], file.attrs["members"] = np.int64(part.machine), np.int64(part.members)
            for name in _OF_MACHINE:
                file.attrs[name] = np.float64(getattr(part, name))
            return
        file.attrs["first"] = np.int64(part.first)
        if isinstance(part, KeyPart):
            for name in ("change", "extent"):
                file.create_dataset(name, data=getattr(part, name))
            return
        file.attrs["engine_error"] = np.array(part.engine_error)
        for name in ("figures", "stopped", "own_meets", "other_meets", "envelope"):
            file.create_dataset(name, data=getattr(part, name))


def _read_part(path: Path) -> CellPart:
    with open_checked(path, PART_TYPE, FORMAT_VERSION) as file:
        return CellPart(
            cell=int(file.attrs["cell"]),
            first=int(file.attrs["first"]),
            figures=file["figures"][()],
            stopped=file["stopped"][()],
            own_meets=file["own_meets"][()],
            other_meets=file["other_meets"][()],
            envelope=file["envelope"][()],
            engine_error=(float(file.attrs["engine_error"][0]), float(file.attrs["engine_error"][1])),
        )


@contextlib.contextmanager
def only_writer(target: Path) -> Iterator[None]:
    """Keep every other sweep away from a target while the block runs; the lock dies with the process.

    Raises ResultFileError if another process has it.
    """
    path = target.with_name(f".{target.name}.lock")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        stream = _locked(path)
    except BlockingIOError:
        raise ResultFileError(
            f"{target}: another sweep is writing it. Wait for that one or give another --output."
        ) from None
    except OSError as fault:
        raise not_written(target, fault) from None
    try:
        yield
    finally:
        with contextlib.suppress(OSError):
            path.unlink()
        stream.close()


def _locked(path: Path) -> BinaryIO:
    """Open and lock; a file that was taken away between the two is opened again."""
    while True:
        stream = path.open("ab")
        try:
            _lock(stream.fileno())
        except OSError:
            stream.close()
            raise BlockingIOError from None
        with contextlib.suppress(OSError):
            if os.path.samestat(os.fstat(stream.fileno()), path.stat()):
                return stream
        stream.close()


def _lock(handle: int) -> None:
    try:
        import fcntl
    except ImportError:  # Windows
        import msvcrt

        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        return
    fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
