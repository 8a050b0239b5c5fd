"""Learn from drills: sheets picked or sent, results to save, no file changed."""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import shutil
from pathlib import Path

import pytest
from drill_sheets import filled_sheet
from openpyxl import load_workbook
from test_never_stale import everything_shown

from evac import desk
from evac.desk import workbench
from evac.desk.lesson_views import sheets_in
from evac.desk.workbench import Workbench
from evac.facts.plan import Plan
from evac.facts.rehearsal import DrillKind
from evac.rehearsal import draw_drill, lesson
from evac.words import Words


@pytest.fixture
def folder(demo: Path, demo_plan: Plan, tmp_path: Path) -> Path:
    """The demo with a filled sheet of a drill in a folder of its own."""
    copy = tmp_path / demo.name
    shutil.copytree(demo, copy, ignore=shutil.ignore_patterns("__pycache__"))
    (copy / "autumn drill").mkdir()
    drill = draw_drill(demo_plan, seed=4, kind=DrillKind.USUAL)
    sheet = filled_sheet(drill, factor=1.5, took_part="2 rescuers, 1 belayer")
    (copy / "autumn drill" / "observer.xlsx").write_bytes(sheet)
    return copy


@pytest.fixture
def bench(folder: Path, demo_plan: Plan, monkeypatch: pytest.MonkeyPatch) -> Workbench:
    monkeypatch.setattr(workbench, "make_plan", lambda _lift, **_: demo_plan)
    return Workbench((folder,), words=Words())


def hashes(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_only_observers_sheets_are_offered(folder: Path) -> None:
    assert [path.name for path in sheets_in(folder)] == ["observer.xlsx"]


def test_a_filled_sheet_teaches_and_no_file_is_changed(
    bench: Workbench, folder: Path, demo_plan: Plan
) -> None:
    before = hashes(folder)
    view = desk.learn_from_drills(bench)
    found, _, go_on, status, text, papers, pages = view.children
    found.value = (folder / "autumn drill" / "observer.xlsx",)
    go_on.click()

    words = Words()
    assert "Read " in status.value
    assert words.duration(demo_plan.simulation.p90_s) in text.value
    for part in ("By step", "By team", "By span", "What the steps become", "Who took"):
        assert part in text.value
    assert "2 rescuers, 1 belayer" in text.value
    for name in ("evaluation.pdf", "drills.csv"):
        assert f'download="{name}"' in papers.value
    assert len(pages.children) >= 1
    assert hashes(folder) == before


@pytest.fixture
def no_new_plan(demo_plan: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    """For what does not look at the plan after the drill: it is not made."""
    monkeypatch.setattr(lesson, "make_plan", lambda _lift, **_: demo_plan)


@pytest.mark.usefixtures("no_new_plan")
def test_a_sheet_sent_by_the_browser_is_read_alike(
    bench: Workbench, folder: Path
) -> None:
    content = (folder / "autumn drill" / "observer.xlsx").read_bytes()
    view = desk.learn_from_drills(bench)
    found, sent, go_on, _, text, papers, _ = view.children
    found.value = tuple(path for _, path in found.options)
    go_on.click()
    picked = text.value
    found.value = ()
    assert text.value == papers.value == ""
    sent.value = (
        {
            "name": "observer.xlsx",
            "type": "",
            "size": len(content),
            "content": memoryview(content),
            "last_modified": dt.datetime(2026, 11, 25, tzinfo=dt.UTC),
        },
    )
    go_on.click()
    assert text.value == picked


@pytest.mark.usefixtures("no_new_plan")
def test_a_drill_quicker_than_planned_waits_for_acceptance(
    bench: Workbench, folder: Path, demo_plan: Plan
) -> None:
    drill = draw_drill(demo_plan, seed=4, kind=DrillKind.USUAL)
    path = folder / "autumn drill" / "observer.xlsx"
    path.write_bytes(filled_sheet(drill, factor=0.2))
    view = desk.learn_from_drills(bench)
    view.children[0].value = (path,)
    view.children[2].click()
    text = view.children[4].value
    assert "NOT planned with until somebody accepts" in text
    assert "the LONGER of each: after is not accepted" in text
    assert "accepted = [" in text


def test_a_cell_that_is_no_time_is_told_with_its_place(
    bench: Workbench, folder: Path
) -> None:
    path = folder / "autumn drill" / "observer.xlsx"
    book = load_workbook(io.BytesIO(path.read_bytes()))
    header = [cell.value for cell in book.active[1]]
    book.active.cell(row=2, column=header.index("begun") + 1).value = "soon"
    book.save(path)
    view = desk.learn_from_drills(bench)
    view.children[0].value = (path,)
    view.children[2].click()
    assert "row 2, column begun" in view.children[3].value
    assert "Traceback" not in everything_shown(view)
    assert view.children[4].value == view.children[5].value == ""


def test_no_sheet_and_a_blank_sheet_are_said_in_a_sentence(
    bench: Workbench, folder: Path, demo_plan: Plan
) -> None:
    view = desk.learn_from_drills(bench)
    view.children[2].click()
    assert "No sheet is picked" in view.children[3].value
    path = folder / "autumn drill" / "observer.xlsx"
    drill = draw_drill(demo_plan, seed=4, kind=DrillKind.USUAL)
    path.write_bytes(filled_sheet(drill, factor=None))
    view.children[0].value = (path,)
    view.children[2].click()
    assert "nothing to learn" in view.children[3].value
