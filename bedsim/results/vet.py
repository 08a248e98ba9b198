"""Reads all of an HDF5 file that nobody vouches for, where a crash or an endless loop costs a sentence.

`python -m bedsim.results.vet FILE` is the process that does it, within bounds of time and memory.
"""

from __future__ import annotations

import contextlib
import subprocess
import sys
from pathlib import Path

SECONDS = 15
MEMORY = 1 << 30  # bytes of address space beside what the libraries take
LARGEST = 256 << 20  # bytes of all datasets of a file that is smaller than they are
MOST_OBJECTS = 100_000


def found_wrong(path: Path) -> str:
    """What is wrong with a file, in words that follow its name; empty where all of it can be read."""
    try:
        done = subprocess.run(command(path), capture_output=True, timeout=2 * SECONDS, check=False)
    except subprocess.TimeoutExpired:
        return "is damaged: reading it does not come to an end"
    except OSError as fault:
        return f"cannot be looked at: {fault.strerror or fault}"
    if done.returncode == 0:
        return done.stdout.decode("utf-8", "replace").strip()
    return "is damaged: the library that reads it breaks down on it"


def command(path: Path) -> list[str]:
    """What looks at a file in a process of its own."""
    return [sys.executable, "-m", __name__, str(path)]


def _limit() -> None:
    with contextlib.suppress(ImportError, ValueError, OSError):  # not on every system
        import resource

        resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS + 1))
        with Path("/proc/self/statm").open() as file:
            taken = int(file.read().split()[0]) * resource.getpagesize()
        resource.setrlimit(resource.RLIMIT_AS, (taken + MEMORY, taken + MEMORY))


def look(path: Path) -> str:
    """Read every dataset and attribute; what is wrong, or nothing."""
    import h5py

    count, total = 0, 0
    room = max(LARGEST, path.stat().st_size)

    def visit(_: str, thing: object) -> str | None:
        nonlocal count, total
        count += 1
        if count > MOST_OBJECTS:
            return f"is damaged: it holds more than {MOST_OBJECTS} objects"
        if isinstance(thing, h5py.Dataset):
            total += int(thing.size or 0) * thing.dtype.itemsize
            if total > room:
                return "is damaged: it claims to hold more than a file of its size can"
        return None

    def read(_: str, thing: object) -> None:
        dict(thing.attrs)  # type: ignore[attr-defined]
        if isinstance(thing, h5py.Dataset):
            thing[()]

    with h5py.File(path, "r") as file:
        said = file.visititems(visit)
        if said is None:
            dict(file.attrs)
            file.visititems(read)
    return str(said or "")


def main(path: str) -> int:
    """Print what is wrong with a file."""
    import h5py

    assert h5py  # before the limit, which counts from here
    _limit()
    try:
        said = look(Path(path))
    except MemoryError:
        said = "is damaged: reading it takes more memory than such a file can need"
    except Exception as fault:
        lines = str(fault).splitlines() or [type(fault).__name__]
        said = f"is damaged: {lines[0].rstrip('.')}"
    sys.stdout.write(said)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
