"""Imports point one way, and each heavy library stays in the package that is there for it."""

import ast
import re
from collections.abc import Mapping
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1] / "bedsim"
# Each may import from the groups above it and from itself only.
ORDER = (
    ("errors", "number_text", "quantities", "shown", "threads", "units"),
    ("background", "files", "registry"),
    ("table_text",),
    ("identity",),
    ("program",),
    ("scenario",),
    ("components",),
    ("screws", "sizing", "metrology"),
    ("model",),
    ("kinds",),  # nobody imports them: they register themselves and are asked for by name
    ("engines",),
    ("results",),
    ("simulation",),
    ("analysis",),
    ("wall",),
    ("ranges", "shake", "tilt", "upkeep"),
    ("power_loss",),
    ("compensate",),
    ("clocking", "comparison", "diagnosis", "improve", "sweep"),
    ("learn",),
    ("explain",),
    ("answers",),
    ("views",),
    ("api",),
    ("cli",),
)
RANK = {part: rank for rank, group in enumerate(ORDER) for part in group}
PURE = ("components", "screws", "sizing", "metrology")  # know nothing of scenario files
HOME = {
    "h5py": ("results/store.py", "results/vet.py"),
    "matplotlib": ("api/plotting.py", "views"),
    "xarray": ("api", "results/datasets.py"),
    "h5netcdf": ("results/datasets.py",),
    "PIL": ("metrology/picture_input.py", "views/explain_page.py"),
    "click": ("cli",),
    "rich": ("cli",),
    "tomllib": ("scenario",),
    "pydantic": ("answers", "scenario"),
    "pydantic_core": ("scenario",),
}
FILES = {file: file.read_text("utf-8") for file in sorted(ROOT.rglob("*.py"))}
# Departures from the rules above that stand in the code, to be mended there; a new one fails, and one mended.
KNOWN_ARROWS = {("metrology", "screws")}  # a verdict on readings asks for the limits of the grades
KNOWN_USERS = {("tomllib", "cli/new.py")}  # parses the text it has just written

LONGEST_MODULE, LONGEST_FUNCTION = 400, 60


@cache
def imported(source: str, module: str) -> set[str]:
    """Full names of all that a module imports, at its top or inside functions, by statement or by name."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            parents = module.split(".")[: -node.level] if node.level else []
            base = ".".join([*parents, *([node.module] if node.module else [])])
            found |= {f"{base}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Call) and _called(node) in ("import_module", "__import__"):
            found |= {str(a.value) for a in node.args[:1] if isinstance(a, ast.Constant)}
    return found


def _called(node: ast.Call) -> str:
    function = node.func
    return function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")


def part_of(name: str) -> str | None:
    """The package of a full name, `bedsim.model.build.x` -> model; None for the version and outside names."""
    steps = name.split(".")
    return steps[1] if steps[0] == "bedsim" and len(steps) > 1 and steps[1] != "__version__" else None


def backward(source: str, module: str) -> list[str]:
    """The imports of a module that point against the order."""
    own = module.split(".")[1]
    wrong = []
    for name in sorted(imported(source, module)):
        part = part_of(name)
        if part is None or part == own:
            continue
        ahead = part not in RANK or RANK[part] >= RANK[own]
        if ahead or (own in PURE and part == "scenario"):
            wrong.append(f"{own} -> {part}: {module} imports {name}")
    return wrong


def module_name(file: Path) -> str:
    return ".".join(("bedsim", *file.relative_to(ROOT).with_suffix("").parts))


def test_every_package_has_its_place_in_the_order():
    parts = {file.relative_to(ROOT).parts[0].removesuffix(".py") for file in FILES}
    assert parts - {"__init__", "__main__"} <= set(RANK)


def test_imports_point_one_way():
    inside = [f for f in FILES if f.relative_to(ROOT).parts[0] not in ("__init__.py", "__main__.py")]
    wrong = [line for f in inside for line in backward(FILES[f], module_name(f))]
    known = {f"{own} -> {part}" for own, part in KNOWN_ARROWS}
    assert not [line for line in wrong if line.split(":")[0] not in known], "\n".join(wrong)
    assert known == {line.split(":")[0] for line in wrong}, (
        "a known departure is mended: take it off the list"
    )


def test_only_the_builder_knows_both_scenario_and_components():
    """Of the model and everything before it: what is later reports on a scenario and its parts, and a kind's
    file tells what its keys make."""
    both = []
    for file, source in FILES.items():
        parts = {part_of(name) for name in imported(source, module_name(file))}
        rank = RANK.get(file.relative_to(ROOT).parts[0].removesuffix(".py"), 0)
        if {"scenario", "components"} <= parts and rank <= RANK["model"]:
            both.append(str(file.relative_to(ROOT)))
    assert both == [
        "model/build.py",
        "model/convert.py",
        "model/corner.py",
        "model/joint_kind.py",
        "model/joint_parts.py",
        "model/mount_kind.py",
    ]


def arrows(sources: Mapping[str, str]) -> dict[str, set[str]]:
    """Which of these modules each imports, for types alone and inside functions too."""
    found: dict[str, set[str]] = {}
    for module, source in sources.items():
        found[module] = set()
        for name in imported(source, module):
            while name and name not in sources:
                name = name.rpartition(".")[0]
            found[module] |= {name} - {"", module}
    return found


def circle(graph: Mapping[str, set[str]]) -> tuple[str, ...]:
    """One circle of modules that import each other, if there is any."""
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        return tuple(error.args[1])
    return ()


def test_no_modules_import_each_other_in_a_circle():
    sources = {module_name(file).removesuffix(".__init__"): source for file, source in FILES.items()}
    del sources["bedsim"]  # its public names are fetched when they are asked for; its version is a constant
    assert not circle(arrows(sources))


def test_a_circle_would_be_seen():
    """Also inside one package, through a function or for types alone."""
    there = "def f():\n    from bedsim.cli.b import g\n"
    back = "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from .a import f\n"
    assert set(circle(arrows({"bedsim.cli.a": there, "bedsim.cli.b": back}))) == {
        "bedsim.cli.a",
        "bedsim.cli.b",
    }
    assert not circle(arrows({"bedsim.cli.a": there, "bedsim.cli.b": "import math"}))


def test_a_class_has_a_name_of_its_own():
    """Whoever reads `Screw` anywhere knows which one is meant: keys of a scenario end in Keys."""
    homes: dict[str, list[str]] = {}
    for file, source in FILES.items():
        for node in ast.walk(ast.parse(source)):
            if isinstance(node, ast.ClassDef):
                homes.setdefault(node.name, []).append(str(file.relative_to(ROOT)))
    assert not {name: files for name, files in homes.items() if len(files) > 1}


def test_no_text_stands_alone_where_it_does_nothing():
    """A line of a longer text that lost its brackets: legal, and cut off in what is told."""
    lost = []
    for file, source in FILES.items():
        for node in ast.walk(ast.parse(source)):
            if isinstance(node, ast.Expr) and isinstance(node.value, ast.JoinedStr):
                lost.append(f"{file.name}:{node.lineno}")
        for function in (n for n in ast.walk(ast.parse(source)) if isinstance(n, ast.FunctionDef)):
            texts = [s for s in function.body[1:] if isinstance(s, ast.Expr)]
            lost += [
                f"{file.name}:{s.lineno}" for s in texts if isinstance(getattr(s.value, "value", 0), str)
            ]
    assert not [place for place in lost if place]


def test_no_module_is_longer_than_can_be_read_at_once():
    long = {str(f.relative_to(ROOT)) for f, s in FILES.items() if len(s.splitlines()) > LONGEST_MODULE}
    assert not long


def test_no_function_is_longer_than_a_page():
    functions = [
        (f"{file.relative_to(ROOT)}: {node.name}", (node.end_lineno or 0) - node.lineno + 1)
        for file, source in FILES.items()
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    ]
    assert not [name for name, lines in functions if lines > LONGEST_FUNCTION]


@pytest.mark.parametrize("library", HOME)
def test_each_library_stays_at_home(library):
    users = [
        str(f.relative_to(ROOT))
        for f in FILES
        if any(n.split(".")[0] == library for n in imported(FILES[f], module_name(f)))
    ]
    assert library.startswith("pydantic_") or users, "nobody uses it: drop it from this list"
    strangers = {(library, user) for user in users if not user.startswith(HOME[library])}
    assert strangers == {known for known in KNOWN_USERS if known[0] == library}


def test_a_backward_arrow_would_be_seen():
    """Also inside a function, relative, and by name."""
    lazy = "def f():\n    from bedsim.model import build\n"
    assert backward(lazy, "bedsim.components.screw")
    assert backward("from ..engines import base", "bedsim.model.build")
    assert backward("import importlib\nimportlib.import_module('bedsim.cli.main')", "bedsim.views.style")
    assert backward("from bedsim.scenario import schema", "bedsim.components.bed")
    assert backward("from bedsim import views", "bedsim.results.store")
    assert not backward("from bedsim.components import screw", "bedsim.model.build")
    assert not backward("import bedsim\nfrom bedsim.engines import base", "bedsim.simulation")


def test_the_guides_table_names_every_package():
    text = (ROOT.parent / "DEVELOPERS.md").read_text("utf-8")
    rows = [line.split("|")[1] for line in text.splitlines() if line.startswith("| `")]
    named = {name for row in rows for name in re.findall(r"`(\w+)(?:/|\.py)`", row)}
    assert set(RANK) <= named
    assert all((ROOT / name).is_dir() or (ROOT / f"{name}.py").is_file() for name in RANK)


def test_the_walk_of_a_number_goes_through_what_is_there():
    text = (ROOT.parent / "DEVELOPERS.md").read_text("utf-8")
    walk = text.partition("## The walk of one number")[2].partition("## ")[0]
    stations = re.findall(r"^\d+\. `([\w/]+\.py)`(?:, `([\w.]+)`)?", walk, re.MULTILINE)
    assert len(stations) == 10
    for file, name in stations:
        assert not name or f"def {name.rpartition('.')[2]}(" in FILES[ROOT / file], f"{file}: {name}"
        assert ROOT / file in FILES
