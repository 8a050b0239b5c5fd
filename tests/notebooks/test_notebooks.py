"""Every notebook runs from top to bottom, and its widgets answer."""

from __future__ import annotations

import re
from pathlib import Path

import nbformat
import pytest
from conftest import ROOT
from nbclient import NotebookClient

NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
BY_NAME = pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)


@BY_NAME
def test_a_notebook_runs_on_the_demo(
    path: Path, demo: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("EVAC_FOLDER", str(demo))
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(
        notebook, timeout=300, resources={"metadata": {"path": str(tmp_path)}}
    ).execute()
    shown = [
        output
        for cell in notebook.cells
        if cell.cell_type == "code"
        for output in cell.outputs
    ]
    assert not [output for output in shown if output.output_type == "error"]
    assert not [
        output
        for output in shown
        if output.output_type == "stream" and output.name == "stderr"
    ]
    widgets = [
        o
        for o in shown
        if "application/vnd.jupyter.widget-view+json" in o.get("data", {})
    ]
    assert widgets


@BY_NAME
def test_a_notebook_is_short_plain_and_without_output(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    texts = " ".join(c.source for c in notebook.cells if c.cell_type == "markdown")
    for caution in (
        "planning aid, not a rescue instruction",
        "trained rescuers",
        "authority having jurisdiction prevail",
        "qualified person must review",
    ):
        assert caution in texts
    for cell in notebook.cells:
        if cell.cell_type == "code":
            assert len(cell.source.splitlines()) <= 8
            assert not re.search(r"^\s*(def|class) ", cell.source, re.MULTILINE)
            assert cell.outputs == []
            assert cell.execution_count is None
