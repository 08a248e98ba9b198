"""Which program this is: what its numbers depend on, down to the last bit.

Two programs of one identity give the same bits; of two others nothing is promised but what rounding allows.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import tokenize
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cache
from importlib.machinery import PathFinder
from importlib.metadata import version
from pathlib import Path

from bedsim import registry
from bedsim.errors import BedsimError
from bedsim.files import noting, write_file

_SPACE = (tokenize.COMMENT, tokenize.NL, tokenize.ENCODING)
_BEFORE_STATEMENT = (tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT)
_SAYS_NOTHING = ("api", "cli", "views")  # packages that show numbers and make none


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """`code`: hash of the source; versions of the libraries; `kernels`: of their matrix products; `kinds`:
    files from outside that kinds of parts come from, each with a hash."""

    code: str
    numpy: str
    scipy: str
    kernels: str
    kinds: str = "none"

    def __str__(self) -> str:
        """All of it in one line."""
        own = f"code {self.code} numpy {self.numpy} scipy {self.scipy} kernels {self.kernels}"
        return own if self.kinds == "none" else f"{own} kinds {self.kinds}"

    def differences(self, other: Identity) -> tuple[str, ...]:
        """What differs, each as "numpy 2.1.0 here, 2.2.0 there"."""
        return tuple(
            f"{f.name} {getattr(self, f.name)} here, {getattr(other, f.name)} there"
            for f in fields(self)
            if getattr(self, f.name) != getattr(other, f.name)
        )


def identity() -> Identity:
    """That of this process, with the kinds it has by now."""
    found = (f"{f.path.name} {_digest(meaning(f.text))}" for f in registry.outside_files())
    return replace(_own(), kinds=", ".join(sorted(found)) or "none")


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:16]


@cache
def _own() -> Identity:
    return Identity(
        code=_code(Path(__file__).parent), numpy=version("numpy"), scipy=version("scipy"), kernels=_kernels()
    )


def _code(package: Path) -> str:
    """Hash of the source, kept beside the compiled files, or in the user's cache where there are none or they
    are not the user's, and like them as long as no file's date or size changes: working it out takes as long
    as drawing all pictures of a run."""
    files = [f for f in sorted(package.rglob("*.py")) if f.relative_to(package).parts[0] not in _SAYS_NOTHING]
    dates = repr([(str(f), f.stat().st_mtime_ns, f.stat().st_size) for f in files])
    state = hashlib.sha256(dates.encode()).hexdigest()
    kept = _kept(package)
    with contextlib.suppress(OSError, ValueError):
        known, code = kept.read_text("utf-8").split()
        if known == state:
            return code
    code = _hash(package, files)
    with contextlib.suppress(OSError, BedsimError), noting():  # no file that a command is asked for
        write_file(kept, f"{state} {code}\n", folder_too=True)
    return code


def _kept(package: Path) -> Path:
    compiled = package / "__pycache__"
    if compiled.is_dir() and os.access(compiled, os.W_OK):
        return compiled / "identity.txt"
    with contextlib.suppress(RuntimeError):  # a user without a home
        cache = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
        return cache / "bedsim" / f"identity-{_digest(str(package))}.txt"
    return compiled / "identity.txt"


def _hash(package: Path, files: Sequence[Path]) -> str:
    found = hashlib.sha256()
    for file in files:
        found.update(file.relative_to(package).as_posix().encode())
        found.update(meaning(file.read_text("utf-8")).encode())
    return found.hexdigest()[:16]


def meaning(source: str) -> str:
    """A source without comments, texts that stand alone (docstrings) and the way its lines are broken."""
    words: list[str] = []
    last, text = tokenize.NEWLINE, ""
    for kind, word, *_ in tokenize.generate_tokens(io.StringIO(source).readline):
        if kind in _SPACE:
            continue
        if text and kind != tokenize.NEWLINE:  # a text that goes on is no docstring
            words.append(text)
        text = word if kind == tokenize.STRING and last in _BEFORE_STATEMENT else ""
        if not text:
            words.append(word if kind not in _BEFORE_STATEMENT else tokenize.tok_name[kind])
        last = kind
    return "\0".join(words)


def _kernels() -> str:
    """Kinds of matrix kernels by library, numpy's and scipy's."""
    import numpy.linalg
    from threadpoolctl import threadpool_info

    assert numpy.linalg
    _load_kernels_of_scipy()
    found = {
        f"{pool['internal_api']}-{pool.get('version')}-{pool.get('architecture', 'unknown')}"
        for pool in threadpool_info()
        if pool["user_api"] == "blas"
    }
    return ",".join(sorted(found)) or "unknown"


def _load_kernels_of_scipy() -> None:
    """Load the library that scipy's algebra hangs on, without scipy.linalg where that is found: the import
    takes a tenth of a second."""
    import ctypes

    import scipy

    spec = PathFinder.find_spec("_fblas", [str(Path(scipy.__file__).parent / "linalg")])
    if spec is not None and spec.origin is not None:
        with contextlib.suppress(OSError):
            ctypes.CDLL(spec.origin)
            return
    import scipy.linalg
