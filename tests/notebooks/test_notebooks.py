"""Every notebook runs from top to bottom: on the demo, on a lift of a map extract."""

from __future__ import annotations

import re
from pathlib import Path

import nbformat
import pytest
from places import ROOT
from nbclient import NotebookClient

from evac.inputs.osm_folder import lift_folder_files

NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
BY_NAME = pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
OF_A_FOLDER = pytest.mark.parametrize(
    "path",
    [path for path in NOTEBOOKS if "open_workbench" in path.read_text("utf-8")],
    ids=lambda path: path.stem,
)

JUNIOR = 52163710
"""A chairlift of 301 m with two supports: small, so that every notebook is quick."""


@pytest.fixture(scope="session")
def real_lift(shared: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that `evac import-osm` makes of a published extract and terrain."""
    folder = tmp_path_factory.mktemp("real") / "junior"
    folder.mkdir()
    files = lift_folder_files(
        shared / "real" / "osm_andorra_2013.osm.gz",
        way_id=JUNIOR,
        terrain=shared / "real" / "N42E001.hgt.zip",
    )
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return folder


def outputs_of(path: Path, folder: Path) -> list[nbformat.NotebookNode]:
    """Run a notebook in a kernel of its own; what its cells show."""
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(
        notebook, timeout=300, resources={"metadata": {"path": str(folder)}}
    ).execute()
    return [
        output
        for cell in notebook.cells
        if cell.cell_type == "code"
        for output in cell.outputs
    ]


def must_be_clean(shown: list[nbformat.NotebookNode], *, cells: int) -> None:
    """No error, no warning, and a widget under every cell."""
    assert not [output for output in shown if output.output_type == "error"]
    assert not [
        output
        for output in shown
        if output.output_type == "stream" and output.name == "stderr"
    ]
    view = "application/vnd.jupyter.widget-view+json"
    widgets = [output for output in shown if view in output.get("data", {})]
    assert len(widgets) == cells


def code_cells(path: Path) -> int:
    notebook = nbformat.read(path, as_version=4)
    return sum(cell.cell_type == "code" for cell in notebook.cells)


@BY_NAME
def test_a_notebook_runs_on_the_demo(
    path: Path, demo: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("EVAC_FOLDER", str(demo))
    must_be_clean(outputs_of(path, tmp_path), cells=code_cells(path))


@pytest.mark.slow
@OF_A_FOLDER
def test_a_notebook_runs_on_a_lift_of_a_map_extract(
    path: Path, real_lift: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("EVAC_FOLDER", str(real_lift))
    must_be_clean(outputs_of(path, tmp_path), cells=code_cells(path))


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


def test_the_list_of_notebooks_names_every_one() -> None:
    listed = (ROOT / "notebooks" / "README.md").read_text("utf-8")
    for path in NOTEBOOKS:
        assert f"`{path.stem}`" in listed
