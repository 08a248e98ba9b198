"""A notebook with a real kernel: answers are tables, pictures are shown, a sweep shows its bar."""

import pytest
from notebook import CELLS

nbformat = pytest.importorskip("nbformat")
nbclient = pytest.importorskip("nbclient")
pytest.importorskip("ipykernel")


def outputs(cell):
    return [out["data"] for out in cell["outputs"] if "data" in out]


@pytest.mark.long
def test_table_figure_and_progress(files, monkeypatch):
    cells = [nbformat.v4.new_code_cell(source) for source in CELLS]
    notebook = nbformat.v4.new_notebook(cells=cells)
    nbclient.NotebookClient(notebook, timeout=300, resources={"metadata": {"path": str(files)}}).execute()
    _, table, figure, swept = notebook.cells
    assert "<table>" in outputs(table)[-1]["text/html"]
    assert "image/png" in outputs(figure)[-1]
    bar, answer = outputs(swept)
    assert "<progress" in bar["text/html"] and "printers" in bar["text/plain"]
    done, total = bar["text/plain"].split(" of ")[0], bar["text/plain"].split(" of ")[1].split()[0]
    assert done == total and "Grades and joints" in answer["text/html"]
