"""What stands in tests/published was read: every test there names the page or address where."""

import ast
import re
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent
FILES = sorted((FOLDER / "published").glob("test_*.py"))
PLACE = re.compile(
    r"\bpp?\. ?\d|\b(page|sheet|table|abstract|line \d)|\b[\w-]+\.(com|org|dev|co\.uk|au|tw)\b"
)


def _read(node: ast.expr) -> str | None:
    """The source that a mark `read` names, or None."""
    if isinstance(node, ast.Call) and ast.unparse(node.func) == "pytest.mark.read":
        return str(ast.literal_eval(node.args[0]))
    return None


def _sources(file: Path) -> dict[str, list[str]]:
    """Tests of a file with the sources that they, or the whole file, name."""
    tree = ast.parse(file.read_text(encoding="utf-8"))
    whole = [_read(n.value) for n in tree.body if isinstance(n, ast.Assign)]
    return {
        n.name: [s for s in (*whole, *map(_read, n.decorator_list)) if s is not None]
        for n in tree.body
        if isinstance(n, ast.FunctionDef) and n.name.startswith("test_")
    }


@pytest.mark.parametrize("file", FILES, ids=lambda f: f.stem)
def test_every_published_value_names_its_page_or_address(file):
    tests = _sources(file)
    assert tests, "a file without tests"
    for name, sources in tests.items():
        assert sources, (
            f"{file.name}: {name}: give @pytest.mark.read with the page or address of what was read"
        )
        for source in sources:
            assert PLACE.search(source), f"{file.name}: {name}: {source!r} names no page or address"
            assert "from memory" not in source, (
                f"{file.name}: {name}: was not read; it belongs in tests/derived"
            )


def test_nothing_derived_claims_to_have_been_read():
    for file in sorted((FOLDER / "derived").glob("test_*.py")):
        assert not any(_sources(file).values()), f"{file.name}: belongs in tests/published"
        words = re.search(r"as printed|printed digits|the catalogue prints", file.read_text(encoding="utf-8"))
        assert words is None, f"{file.name}: {words}"


def test_all_that_is_from_memory_stands_in_one_list():
    root = FOLDER.parent
    text = (root / "DEVELOPERS.md").read_text(encoding="utf-8")
    listed = text.partition("## Known from memory")[2].partition("## References")[0]
    rows = [line for line in listed.splitlines() if line.startswith("| `")]
    names = {
        Path(name).name for row in rows for name in re.findall(r"`([^`]+\.(?:py|csv))`", row.split("|")[1])
    }
    files = [*(root / "bedsim").rglob("*.py"), *(root / "bedsim").rglob("*.csv")]
    saying = {f.name for f in files if "from memory" in f.read_text(encoding="utf-8")}
    assert names == saying
