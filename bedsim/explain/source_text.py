"""What the program's own text says: docstrings, which function reads which key, sentences of faults.

Read from the files of the package without importing them, each when it is first asked for.
"""

from __future__ import annotations

import ast
import inspect
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
GAP = "…"
"""Stands for what a sentence fills in."""
MADE_IN = ("components/",)
"""Where parts are made of numbers."""
PHYSICS = (
    "model/",
    "kinds/",
    "analysis/",
    "sizing/",
    "power_loss/",
    "tilt/",
    "shake/",
    "upkeep/",
    "wall/",
    "scenario/sections.py",
    "scenario/part_program.py",
    "simulation.py",
)
"""Where a key acts, in the order in which it is told."""
BY_TEXT = {"scenario/part_program.py": ("program_", "filament_diameter_mm", "plane_")}
"""Modules that ask for keys by their text, which no attribute shows: how those keys begin."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FunctionText:
    """A function of a module (path below the package), "" for all outside of functions: its docstring, all
    names in it, attributes that it reads, the class that it makes, and the sentences that it may say."""

    module: str
    name: str
    doc: str = ""
    makes: str = ""
    words: set[str] = field(default_factory=set)
    reads: set[str] = field(default_factory=set)
    sentences: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True)
class ModuleText:
    """A module (path below the package): its docstring, functions, docstrings of its public classes and
    functions by name, and the names of its classes."""

    path: str
    doc: str
    functions: tuple[FunctionText, ...]
    public: tuple[tuple[str, str], ...]
    classes: frozenset[str]


@cache
def paths(*starts: str) -> tuple[str, ...]:
    """Modules whose paths begin so, in that order; every module where nothing is named."""
    every = sorted(str(file.relative_to(ROOT)) for file in ROOT.rglob("*.py") if file.name != "__init__.py")
    return tuple(path for start in starts or ("",) for path in every if path.startswith(start))


@cache
def module_text(path: str) -> ModuleText:
    """Read one module."""
    tree = ast.parse(_text(path))
    top = [n for n in tree.body if isinstance(n, ast.FunctionDef | ast.ClassDef) and n.name[0] != "_"]
    outside = FunctionText(module=path, name="")
    functions = [outside]
    _read(tree, outside, functions)
    return ModuleText(
        path=path,
        doc=_doc(tree),
        functions=tuple(functions),
        public=tuple((n.name, _doc(n)) for n in top if _doc(n)),
        classes=frozenset(n.name for n in tree.body if isinstance(n, ast.ClassDef)),
    )


def _doc(node: ast.Module | ast.FunctionDef | ast.ClassDef) -> str:
    return inspect.cleandoc(ast.get_docstring(node) or "")


def _read(node: ast.AST, inside: FunctionText, found: list[FunctionText]) -> None:
    """Note what a node and all below it hold, in the function that they stand in."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.FunctionDef):
            made = ast.unparse(child.returns) if child.returns is not None else ""
            own = FunctionText(
                module=inside.module,
                name=child.name,
                doc=_doc(child),
                makes=made.partition(" |")[0].rpartition(".")[2],
            )
            found.append(own)
            _read(child, own, found)
            continue
        if isinstance(child, ast.Attribute):
            inside.words.add(child.attr)
            inside.reads.add(child.attr)
        elif isinstance(child, ast.Name):
            inside.words.add(child.id)
        elif isinstance(child, ast.arg):
            inside.words.add(child.arg)
        elif isinstance(child, ast.JoinedStr | ast.Constant) and not _is_part(child, node):
            inside.sentences.extend(_sentence(child))
        _read(child, inside, found)


def _is_part(text: ast.expr, of: ast.AST) -> bool:
    """Whether a text is a docstring, or a piece of a longer one."""
    return isinstance(text, ast.Constant) and isinstance(of, ast.Expr | ast.JoinedStr)


def _sentence(node: ast.JoinedStr | ast.Constant) -> Iterator[str]:
    """A text of several words, with a gap for what is filled in."""
    parts = node.values if isinstance(node, ast.JoinedStr) else [node]
    text = "".join(str(p.value) if isinstance(p, ast.Constant) else GAP for p in parts)
    if len(text.split()) >= 4:
        yield text


def readers(table: str, keys_class: str, key: str) -> list[FunctionText]:
    """Functions in which a key of a table acts, those that make a part of it first.

    A function reads it if it asks for an attribute of that name and names the table or its class; where none
    does, one that asks for the attribute.
    """
    words = {table.rpartition(".")[2], keys_class}
    asking = [
        f
        for path in _naming(f".{key}", *PHYSICS)
        for f in module_text(path).functions
        if f.name and key in f.reads
    ]
    by_text = (path for path, starts in BY_TEXT.items() if key.startswith(starts))
    return [f for f in asking if f.words & words] or asking or [module_text(p).functions[0] for p in by_text]


@cache
def home_of(name: str) -> ModuleText | None:
    """The module in which a part's class of this name is defined."""
    every = (module_text(path) for path in _naming(f"class {name}", *MADE_IN, *PHYSICS))
    return next((m for m in every if name in m.classes), None)


def _naming(text: str, *starts: str) -> Iterator[str]:
    """Modules in whose text it stands: reading all is a hundredth of parsing all."""
    return (path for path in paths(*starts) if text in _text(path))


@cache
def _text(path: str) -> str:
    return (ROOT / path).read_text(encoding="utf-8")


def said_by(message: str, enough: float = 0.6) -> list[tuple[float, str, FunctionText]]:
    """Sentences of the program that a message may be, likeliest first: how well they fit, the sentence, and
    the function that says it.  Of its own words the message must have `enough`."""
    asked = set(_words(message))
    found = []
    for function in (f for path in paths() for f in module_text(path).functions):
        for sentence in function.sentences:
            own = set(_words(sentence.replace(GAP, " ")))
            if len(own) < 3:
                continue
            share, covered = len(own & asked) / len(own), len(own & asked) / len(asked)
            if share >= enough and covered >= 0.4:
                found.append((share * covered, sentence, function))
    return sorted(found, key=lambda one: -one[0])


def _words(text: str) -> list[str]:
    return [w for w in "".join(c.lower() if c.isalpha() else " " for c in text).split() if len(w) > 1]
