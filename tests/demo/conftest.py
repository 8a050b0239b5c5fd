"""The two demos, their plans made once, and their scripts run again elsewhere."""

from __future__ import annotations

import datetime as dt
import runpy
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from evac.documents.bundle import document_files
from evac.facts.lift import Lift
from evac.facts.plan import Plan
from evac.inputs.folder import open_lift
from evac.plan import make_plan
from evac.words import Words

DAY = dt.date(2026, 11, 25)
SCRIPTS = ("mountain", "make_terrain", "make_layers", "make_gondola")


@pytest.fixture(scope="session")
def gondola(demo: Path) -> Path:
    """The lift folder of the second demo."""
    return demo.parent / "thornmere_eight"


@pytest.fixture(scope="session")
def gondola_lift(gondola: Path) -> Lift:
    """The second demo as its folder is read on one fixed day."""
    return open_lift(gondola, today=DAY)


@pytest.fixture(scope="session")
def gondola_plan(gondola_lift: Lift) -> Plan:
    """The second demo's plan for that day, made once a test process."""
    return make_plan(gondola_lift, date=DAY)


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
