"""The two demos, their plans made once, and their scripts run again elsewhere."""

from __future__ import annotations

import runpy
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from evac.documents.bundle import document_files
from evac.facts.plan import Plan
from evac.words import Words

SCRIPTS = ("mountain", "make_terrain", "make_layers", "make_gondola")


@pytest.fixture(scope="session")
def gondola_papers(gondola_plan: Plan) -> dict[str, bytes]:
    """Everything that is printed of the second demo's plan."""
    return dict(document_files(gondola_plan, Words()))


@pytest.fixture
def remade(demo, tmp_path, monkeypatch) -> Callable[[str, str], Path]:
    """Runs a demo's scripts again elsewhere, and gives the folder they made."""
    scripts = tmp_path / "data_demo"
    scripts.mkdir()
    for name in SCRIPTS:
        shutil.copy(demo.parent / f"{name}.py", scripts)
    monkeypatch.syspath_prepend(str(scripts))

    def run(folder: str, *names: str) -> Path:
        (scripts / folder).mkdir()
        for name in SCRIPTS:
            monkeypatch.delitem(sys.modules, name, raising=False)
        for name in names:
            runpy.run_path(str(scripts / f"{name}.py"), run_name="__main__")
        for name in SCRIPTS:
            monkeypatch.delitem(sys.modules, name, raising=False)
        return scripts / folder

    return run
