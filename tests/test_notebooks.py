"""Every notebook runs from its first cell to its last, as a reader would run it."""

from __future__ import annotations

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

FOLDER = Path(__file__).parent.parent / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))


def printed(notebook: nbformat.NotebookNode) -> str:
    outputs = [output for cell in notebook.cells if cell.cell_type == "code" for output in cell.outputs]
    return "".join(output.text for output in outputs if output.output_type == "stream")


def test_there_are_notebooks():
    assert NOTEBOOKS


@pytest.mark.slow
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
@pytest.mark.filterwarnings("default")  # of the kernel's client, not of what runs in it
def test_runs_to_its_end(path, monkeypatch):
    monkeypatch.setenv("PYTHONWARNINGS", "error")
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(notebook, timeout=300, resources={"metadata": {"path": str(path.parent)}}).execute()
    text = printed(notebook)
    assert "Chance that another class is true" in text
    assert "measured (cm)" in text


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_is_kept_without_results(path):
    """Results are those of the reader's own run; a stored one grows old unseen."""
    notebook = nbformat.read(path, as_version=4)
    for cell in notebook.cells:
        assert cell.cell_type != "code" or (not cell.outputs and cell.execution_count is None)
