"""Single disturbances of a module's formulas: which there are, and the tree with one of them made."""

from __future__ import annotations

import ast
import copy
import hashlib
from dataclasses import dataclass
from pathlib import Path

ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
}
COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.Gt,
    ast.Gt: ast.Lt,
    ast.LtE: ast.GtE,
    ast.GtE: ast.LtE,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
}
TWINS = {"sin": "cos", "cos": "sin", "max": "min", "min": "max", "maximum": "minimum", "minimum": "maximum"}
FIVE_PER_CENT = 1.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Disturbance:
    """One change: the number of the node in the order of `ast.walk`, and what becomes of it."""

    file: str
    line: int
    node: int
    kind: str
    text: str

    @property
    def key(self) -> str:
        """A name that lasts while other lines of the file change: file, kind, and the line's own text."""
        digest = hashlib.sha256(f"{self.text}".encode()).hexdigest()[:10]
        return f"{self.file}:{self.kind}:{digest}"


def disturbances(file: Path, root: Path) -> list[Disturbance]:
    """All that can be disturbed: numbers, signs, factors, indices, comparisons, paired functions."""
    source = file.read_text("utf-8")
    tree, lines = ast.parse(source), source.splitlines()
    silent = _not_computed(tree)
    found = []
    for number, node in enumerate(ast.walk(tree)):
        if id(node) in silent:
            continue
        for kind in _kinds(node):
            line = node.lineno  # type: ignore[attr-defined]
            column = node.col_offset  # type: ignore[attr-defined]
            found.append(
                Disturbance(
                    file=file.relative_to(root).as_posix(),
                    line=line,
                    node=number,
                    kind=kind,
                    text=f"{lines[line - 1].strip()} @{column - _indent(lines[line - 1])}+{_length(node)}",
                )
            )
    return found


def _length(node: ast.AST) -> int:
    """Characters of a node, which tell it from others that begin where it does."""
    return len(ast.unparse(node))


def _indent(line: str) -> int:
    return len(line) - len(line.lstrip())


def _not_computed(tree: ast.Module) -> set[int]:
    """Nodes of annotations, of texts put together, of error messages and of `__slots__`-like decorators."""
    found: set[int] = set()
    for node in ast.walk(tree):
        quiet: list[ast.AST | None] = []
        if isinstance(node, ast.AnnAssign | ast.arg):
            quiet.append(node.annotation)
        elif isinstance(node, ast.FunctionDef | ast.ClassDef):
            quiet += [*node.decorator_list, getattr(node, "returns", None)]
        elif isinstance(node, ast.JoinedStr | ast.Raise | ast.Import | ast.ImportFrom):
            quiet.append(node)
        for part in quiet:
            if part is not None:
                found |= {id(inner) for inner in ast.walk(part)}
    return found


def _kinds(node: ast.AST) -> list[str]:
    if isinstance(node, ast.Constant):
        if isinstance(node.value, float) and node.value != 0.0:
            return ["constant"]
        if type(node.value) is int and abs(node.value) > 2:
            return ["constant"]
    if isinstance(node, ast.BinOp):
        if type(node.op) in (ast.Add, ast.Sub):
            return ["sign"]
        if type(node.op) in (ast.Mult, ast.Div):
            return ["factor"]
        if type(node.op) is ast.Pow:
            return ["power"]
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        return [] if isinstance(node.operand, ast.Constant) and node.operand.value == 1 else ["minus"]
    if isinstance(node, ast.Subscript) and _index(node.slice) is not None:
        return ["index"]
    if isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in COMPARISONS:
        return ["comparison"]
    if isinstance(node, ast.Call) and _name(node.func) in TWINS:
        return ["twin"]
    return []


def _index(node: ast.AST) -> int | None:
    if isinstance(node, ast.Constant) and type(node.value) is int and node.value in (0, 1, 2):
        return node.value
    return None


def _name(function: ast.expr) -> str:
    return function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")


def disturbed(source: str, what: Disturbance) -> ast.Module:
    """The module's tree with one disturbance in it."""
    tree = ast.parse(source)
    node = next(node for number, node in enumerate(ast.walk(tree)) if number == what.node)
    parents = {id(child): parent for parent in ast.walk(tree) for child in ast.iter_child_nodes(parent)}
    _replace(parents[id(node)], node, _changed(copy.deepcopy(node), what.kind))
    return ast.fix_missing_locations(tree)


def _changed(node: ast.AST, kind: str) -> ast.AST:
    if kind == "constant":
        assert isinstance(node, ast.Constant)
        value = node.value
        node.value = value * FIVE_PER_CENT if isinstance(value, float) else value + 1
    elif kind in ("sign", "factor"):
        assert isinstance(node, ast.BinOp)
        node.op = ARITHMETIC[type(node.op)]()
    elif kind == "power":
        assert isinstance(node, ast.BinOp)
        node.right = ast.BinOp(left=node.right, op=ast.Add(), right=ast.Constant(0.05))
    elif kind == "minus":
        assert isinstance(node, ast.UnaryOp)
        return node.operand
    elif kind == "index":
        assert isinstance(node, ast.Subscript)
        now = _index(node.slice)
        node.slice = ast.Constant(1 if now == 0 else now - 1)  # type: ignore[operator]
    elif kind == "comparison":
        assert isinstance(node, ast.Compare)
        node.ops = [COMPARISONS[type(node.ops[0])]()]
    elif kind == "twin":
        assert isinstance(node, ast.Call)
        function = node.func
        if isinstance(function, ast.Attribute):
            function.attr = TWINS[function.attr]
        else:
            assert isinstance(function, ast.Name)
            function.id = TWINS[function.id]
    return node


def _replace(parent: ast.AST, old: ast.AST, new: ast.AST) -> None:
    for name, value in ast.iter_fields(parent):
        if value is old:
            setattr(parent, name, new)
        elif isinstance(value, list):
            setattr(parent, name, [new if item is old else item for item in value])
