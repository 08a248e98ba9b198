"""A pytest plugin that notes what tests compare with what: so no check is listed anywhere but in its test.

Noted are `== pytest.approx`, `np.testing.assert_allclose`, every other assertion that held, what a test gives
to `record_property`, marks that name what was read, and how the test ended.
"""

from __future__ import annotations

import ast
import inspect
import math
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest

ENGINES = {"bedsim.simulation", "bedsim.engines.propagator", "bedsim.engines.reference"}
"""Who imports one of these compares what an engine found."""
PROGRAMS = ("exudyn", "sympy", "magpylib", "scipy")
"""Independent programs that a test may ask; the first that its module or those it uses import is named."""


@dataclass
class Compared:
    """One value S of ours beside one D from elsewhere, where E = S - D is largest against what is allowed."""

    ours: float
    theirs: float
    allowed: float
    shape: tuple[int, ...] = ()
    worst: int = 0

    @property
    def error(self) -> float:
        return self.ours - self.theirs

    def stated(self, given: Any, place: int) -> float | None:
        """What a test says of its `place`-th comparison, in the unit of D.

        Shares of D: a number for all comparisons, or a list of one for each (or one for each value of it).
        """
        if given is None:
            return None
        own = given[place] if isinstance(given, list) else given
        return float(np.broadcast_to(own, self.shape).ravel()[self.worst]) * abs(self.theirs)


@dataclass(frozen=True)
class Parts:
    """u_num, u_input and u_D of a comparison in the unit of D, None where unknown; `basis`: whence."""

    num: float | None
    inputs: float | None
    data: float | None
    basis: str

    @property
    def u_val(self) -> float:
        """Root of the sum of squares of what is known."""
        return math.hypot(*(u or 0.0 for u in (self.num, self.inputs, self.data)))

    @property
    def unknown(self) -> tuple[str, ...]:
        named = {"u_num": self.num, "u_input": self.inputs, "u_D": self.data}
        return tuple(name for name, u in named.items() if u is None)


@dataclass
class Check:
    """One test: where it stands, what it says, what it rests on, how it ended, and all it compared."""

    name: str
    folder: str
    file: str
    says: str
    about: str
    status: str
    source: str
    exact: str = ""
    engine: bool = False
    outcome: str = "not run"
    why: str = ""
    compared: list[Compared] = field(default_factory=list)
    held: list[tuple[str, str]] = field(default_factory=list)
    properties: dict[str, Any] = field(default_factory=dict)


class Recorder:
    """Collects `Check`s by the ids of tests."""

    def __init__(self) -> None:
        self.checks: dict[str, Check] = {}
        self.broken: list[tuple[str, str]] = []
        self.now: Check | None = None
        self._approx, self._allclose = pytest.approx, np.testing.assert_allclose

    def __enter__(self) -> Recorder:
        pytest.approx = self._recording_approx  # type: ignore[assignment]
        np.testing.assert_allclose = self._recording_allclose  # type: ignore[assignment]
        return self

    def __exit__(self, *_: object) -> None:
        pytest.approx = self._approx
        np.testing.assert_allclose = self._allclose

    # ---- comparisons ------------------------------------------------------------------------------------

    def _recording_approx(self, expected: Any, rel: Any = None, abs: Any = None, nan_ok: bool = False) -> Any:
        made = self._approx(expected, rel=rel, abs=abs, nan_ok=nan_ok)
        plain = type(made)

        def equals(one: Any, actual: Any) -> bool:
            share = 1e-6 if rel is None and abs is None else rel or 0.0
            least = 1e-12 if abs is None else abs
            self.note(actual, expected, share, least)
            return bool(plain.__eq__(one, actual))

        own = type(plain.__name__, (plain,), {"__eq__": equals, "__hash__": None})
        made.__class__ = own
        return made

    def _recording_allclose(
        self, actual: Any, desired: Any, rtol: float = 1e-7, atol: float = 0.0, **more: Any
    ) -> None:
        self.note(actual, desired, rtol, atol)
        self._allclose(actual, desired, rtol=rtol, atol=atol, **more)

    def note(self, actual: Any, expected: Any, share: float, least: float) -> None:
        """Keep the place where the difference is largest against what is allowed."""
        if self.now is None:
            return
        if isinstance(expected, dict):
            actual, expected = ([of[key] for key in expected] for of in (actual, expected))
        try:
            ours, theirs = np.broadcast_arrays(np.asarray(actual, float), np.asarray(expected, float))
        except (TypeError, ValueError):
            return  # complex numbers and words: their assertion is noted
        if not ours.size:
            return
        allowed = np.maximum(share * np.abs(theirs), least)
        worst = (
            int(np.nanargmax(np.abs(ours - theirs) / np.maximum(allowed, 1e-300)).item())
            if np.isfinite(ours).any()
            else 0
        )
        values = (float(of.ravel()[worst]) for of in (ours, theirs, np.broadcast_to(allowed, ours.shape)))
        self.now.compared.append(Compared(*values, shape=ours.shape, worst=worst))

    # ---- pytest's own hooks -----------------------------------------------------------------------------

    def pytest_itemcollected(self, item: pytest.Item) -> None:
        self.checks[item.nodeid] = _check_of(item)

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed:
            self.broken.append((report.nodeid, str(report.longrepr).strip().splitlines()[-1]))

    def pytest_runtest_setup(self, item: pytest.Item) -> None:
        self.now = self.checks[item.nodeid]

    def pytest_assertion_pass(self, item: pytest.Item, orig: str, expl: str) -> None:
        if "approx(" not in orig:
            self.checks[item.nodeid].held.append((orig, expl.splitlines()[0]))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        check = self.checks[report.nodeid]
        if report.when == "call" or report.outcome != "passed":
            check.outcome = report.outcome if check.outcome != "failed" else "failed"
            check.properties |= dict(report.user_properties)
        if report.failed:
            told = [line[1:].strip() for line in str(report.longrepr).splitlines() if line.startswith("E ")]
            check.why = told[0] if told else str(report.longrepr).strip().splitlines()[-1]


def _check_of(item: pytest.Item) -> Check:
    file = Path(str(item.path))
    module = inspect.getdoc(getattr(item, "module", None)) or ""
    doc = inspect.getdoc(getattr(item, "function", None)) or ""
    read = [str(mark.args[0]) for mark in item.iter_markers("read")]
    status, source = _rests_on(file, item.name, read, module)
    exact = next((str(mark.args[0]) for mark in item.iter_markers("exact_inputs")), "")
    if not exact and file.parent.name == "independent":
        exact = "the same machine stands on both sides"
    return Check(
        name=item.name,
        folder=file.parent.name,
        file=f"{file.parent.name}/{file.name}",
        says=" ".join(doc.split()) or item.name.partition("[")[0].removeprefix("test_").replace("_", " "),
        about=" ".join(module.split()),
        status=status,
        source=source,
        exact=exact,
        engine=bool(_imports(file) & ENGINES),
    )


def _rests_on(file: Path, name: str, read: list[str], module: str) -> tuple[str, str]:
    """Status and source: read, from memory, an independent program, or computed."""
    if read:
        return "read", "; ".join(read)
    sources = re.findall(r"Source: ([^\n]+)", module)
    computed = re.search(r"_(computed|derived|closed_form)\b", name.partition("[")[0])
    if "from memory" in module and not computed:
        return "from memory", "; ".join(sources) or "the module's docstring"
    program = next((p for p in PROGRAMS if p in _imports(file)), "")
    if program:
        return "independent program", program
    return ("computed", "; ".join(sources) or "derived in the test")


def _imports(file: Path, depth: int = 2) -> set[str]:
    """Modules that a file imports, and those that its neighbours import for it."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, node.module.partition(".")[0]}
    for name in list(found):
        beside = file.parent / f"{name}.py"
        if depth and beside.exists() and beside != file:
            found |= _imports(beside, depth - 1)
    return found


def parts(compared: Compared, check: Check, place: int) -> Parts:
    """u_num, u_input and u_D of the `place`-th comparison of a check.

    What a test states comes first. Else what it allows, over the root of 3, is u_D where D was read or
    recalled and u_num where it was computed; a closed formula against a read value has no u_num.
    """
    said = {key: compared.stated(check.properties.get(key), place) for key in ("u_num", "u_input", "u_data")}
    allowed, outside = compared.allowed / math.sqrt(3), check.status in ("read", "from memory")
    basis = [f"{key.replace('data', 'D')} stated" for key, u in said.items() if u is not None]
    num, inputs, data = said["u_num"], said["u_input"], said["u_data"]
    if data is None:
        data, basis = (allowed, [*basis, "u_D: tolerance"]) if outside else (0.0, basis)
    if num is None and outside and check.engine and check.status == "read":
        basis = [*basis, "u_num: an engine's, not stated"]
    elif num is None and outside:
        num, basis = 0.0, [*basis, "u_num: closed formula"]
    elif num is None:
        num, basis = (0.0, basis) if said["u_data"] is not None else (allowed, [*basis, "u_num: tolerance"])
    if inputs is None and check.exact:
        inputs, basis = 0.0, [*basis, f"u_input: {check.exact}"]
    return Parts(num=num, inputs=inputs, data=data, basis="; ".join(basis))
