"""The notebooks' widgets answer, follow each other, and say errors as sentences."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from evac import desk
from evac.currency import standings
from evac.desk.workbench import Workbench


@pytest.fixture(scope="module")
def bench(demo: Path) -> Workbench:
    return desk.open_workbench(demo)


def test_a_moved_slider_changes_the_drawing_and_the_text(bench: Workbench) -> None:
    view = desk.heights_at_a_stop(bench)
    slider, text, picture = view.children[0].children[0], *view.children[1:]
    before = (bytes(picture.value), text.value)

    slider.value = slider.max / 2

    assert bytes(picture.value).startswith(b"\x89PNG")
    assert bytes(picture.value) != before[0]
    assert text.value != before[1]


def test_verdict_zones_findings_and_map_show_the_plan(bench: Workbench) -> None:
    assert bench.plan is not None
    assert "Everyone is reached" in desk.verdict(bench).value
    for zone in bench.plan.assignment.zones:
        assert zone.team in desk.zones(bench).value
    assert "<iframe" in desk.the_map(bench).value
    assert "<table" in desk.findings(bench).value


def test_the_sheet_follows_the_chosen_team(bench: Workbench) -> None:
    view = desk.the_sheet(bench)
    team, pages = view.children
    first = [bytes(page.value) for page in pages.children]
    team.index = 1
    second = [bytes(page.value) for page in pages.children]
    assert first
    assert second
    assert first != second


def test_a_drill_is_drawn_again_for_another_number(bench: Workbench) -> None:
    view = desk.a_drill(bench)
    seed = view.children[0].children[0]
    first = view.children[1].value
    seed.value = 2
    assert view.children[1].value != first
    assert "safety.pdf" in view.children[2].value


def test_the_papers_of_a_drill_are_shown_as_they_are_printed(bench: Workbench) -> None:
    view = desk.a_drill(bench)
    paper, pages = view.children[3:]
    assert {"safety.pdf", "observer.pdf"} < set(paper.options)
    shown = {}
    for name in ("safety.pdf", paper.options[-1]):
        paper.value = name
        shown[name] = [bytes(page.value) for page in pages.children]
        assert shown[name][0].startswith(b"\x89PNG")
    assert len({page for found in shown.values() for page in found}) >= 2
    # Another drill keeps the same paper open, drawn anew.
    view.children[0].children[0].value = 3
    assert paper.value == paper.options[-1]
    assert [bytes(page.value) for page in pages.children] != shown[paper.value]


def test_an_unusable_folder_is_shown_as_its_sentence(
    demo: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "broken"
    shutil.copytree(demo, folder)
    (folder / "teams.csv").unlink()
    bench = desk.open_workbench(folder)
    assert bench.plan is None
    assert "teams.csv" in bench.status.value
    assert "Traceback" not in bench.status.value


def test_folders_with_a_lift_are_offered_and_the_named_one_first(
    demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A hidden folder above the work hides nothing; one below it does.
    work = tmp_path / ".home" / "work"
    for name in ("b_lift", "a_lift", ".hidden/c_lift", "tests/d_lift"):
        (work / name).mkdir(parents=True)
        (work / name / "lift.toml").write_text("")
    monkeypatch.setenv("EVAC_FOLDER", str(demo))
    found = desk.find_folders(work)
    assert [path.name for path in found] == [demo.name, "a_lift", "b_lift"]


def test_teams_and_kit_that_are_due_are_named(bench: Workbench) -> None:
    assert bench.plan is not None
    shown = desk.who_is_due(bench).value
    for team in bench.plan.lift.teams:
        assert team.id in shown
    for kit in bench.plan.lift.kits:
        assert f"<td>{kit.id}</td>" in shown
    overdue = [
        kit
        for kit in bench.plan.lift.kits
        for day in (kit.inspection_due, kit.retire_on)
        if day is not None and day < bench.plan.date
    ]
    late = sum(
        item.overdue for item in standings(bench.plan.lift, date=bench.plan.date)
    )
    assert shown.count("OVERDUE") == late + len({kit.id for kit in overdue})
