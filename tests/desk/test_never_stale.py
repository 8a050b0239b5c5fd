"""No view shows one lift under the name of another, or an old answer to a new question.

People can be hurt by a sheet of the wrong lift: whatever is refused, or still being
worked on, must leave every view empty.
"""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import ipywidgets as widgets
import pytest

from evac import desk
from evac.desk import drill_views, stop_views, workbench
from evac.desk.drill_views import drill_rows
from evac.desk.workbench import Workbench
from evac.documents.drill_papers import carrier_row
from evac.errors import NoPlanError
from evac.facts.plan import Plan
from evac.facts.rehearsal import DrillKind
from evac.rehearsal import draw_drill
from evac.words import Words

VIEWS = (
    "verdict",
    "zones",
    "findings",
    "the_map",
    "the_sheet",
    "heights_at_a_stop",
    "three_counts",
)


def everything_shown(view: widgets.Widget) -> str:
    """All text and pictures of a view and its children, run together."""
    if isinstance(view, widgets.Box):
        return "".join(everything_shown(child) for child in view.children)
    if isinstance(view, widgets.Image):
        return str(bytes(view.value))[2:-1]
    return str(view.value) if isinstance(view, widgets.HTML) else ""


@pytest.fixture
def broken(demo: Path, tmp_path: Path) -> Path:
    folder = tmp_path / demo.name
    shutil.copytree(demo, folder)
    (folder / "teams.csv").unlink()
    return folder


@pytest.fixture
def bench(
    demo: Path, broken: Path, demo_plan: Plan, monkeypatch: pytest.MonkeyPatch
) -> Workbench:
    """The demo, planned once for all tests, beside a copy that is refused."""
    monkeypatch.setattr(workbench, "make_plan", lambda _lift, **_: demo_plan)
    return Workbench((demo, broken), words=Words())


def test_a_refused_folder_clears_what_the_last_lift_showed(
    bench: Workbench, broken: Path
) -> None:
    views = {name: getattr(desk, name)(bench) for name in (*VIEWS, "a_drill")}
    for name, view in views.items():
        assert everything_shown(view), name

    bench.picker.value = broken

    assert bench.plan is None
    assert "teams.csv" in bench.status.value
    for name, view in views.items():
        assert everything_shown(view) == "", name
    assert views["the_sheet"].children[0].options == ()
    assert views["three_counts"].children[2].children == ()


def test_views_are_empty_while_the_next_lift_is_worked_on(
    bench: Workbench, monkeypatch: pytest.MonkeyPatch
) -> None:
    views = [getattr(desk, name)(bench) for name in (*VIEWS, "a_drill")]
    seen: list[tuple[str, str]] = []
    make_plan = workbench.make_plan

    def watched(*args: object, **kwargs: object) -> Plan:
        shown = "".join(everything_shown(view) for view in views)
        seen.append((bench.status.value, shown))
        return make_plan(*args, **kwargs)  # type: ignore[arg-type]  # passed through

    monkeypatch.setattr(workbench, "make_plan", watched)
    bench.again.click()

    assert [shown for _, shown in seen] == [""]
    assert "Working" in seen[0][0]
    assert all(everything_shown(view) for view in views)


def test_a_mended_folder_is_read_again_without_another_pick(
    bench: Workbench, broken: Path, demo: Path
) -> None:
    verdict = desk.verdict(bench)
    bench.picker.value = broken
    shutil.copy(demo / "teams.csv", broken)
    bench.again.click()
    assert bench.plan is not None
    assert "Everyone is reached" in verdict.value


def test_a_view_that_cannot_be_drawn_is_cleared_and_says_why(
    bench: Workbench,
) -> None:
    told: list[Plan | None] = []

    def refuses(plan: Plan | None) -> None:
        told.append(plan)
        if plan is not None:
            message = "this cannot be drawn"
            raise NoPlanError(message)

    bench.follow(refuses)
    assert told == [bench.plan, None]
    assert "this cannot be drawn" in bench.status.value


def test_a_drill_that_is_refused_leaves_no_papers_of_the_last(
    bench: Workbench, monkeypatch: pytest.MonkeyPatch
) -> None:
    view = desk.a_drill(bench)
    assert "safety.pdf" in everything_shown(view)

    def refuses(*_args: object, **_kwargs: object) -> None:
        message = "no such drill"
        raise NoPlanError(message)

    monkeypatch.setattr(drill_views, "draw_drill", refuses)
    view.children[0].children[0].value = 7
    assert "no such drill" in everything_shown(view)
    assert "safety.pdf" not in everything_shown(view)


def test_a_stop_that_cannot_hang_leaves_no_picture_of_the_last(
    bench: Workbench, monkeypatch: pytest.MonkeyPatch
) -> None:
    view = desk.heights_at_a_stop(bench)
    picture = view.children[2]
    assert bytes(picture.value)

    def refuses(*_args: object, **_kwargs: object) -> None:
        message = "no rope hangs so"
        raise NoPlanError(message)

    monkeypatch.setattr(stop_views, "stop_heights", refuses)
    view.children[0].children[0].value = 3.0
    assert "no rope hangs so" in view.children[1].value
    assert bytes(picture.value) == b""


def test_a_lift_without_one_known_height_is_said_to_be_so(
    bench: Workbench, demo_plan: Plan
) -> None:
    units = tuple(
        replace(unit, known=False, reason="doubtful")
        for unit in demo_plan.heights.units
    )
    bench.plan = replace(demo_plan, heights=replace(demo_plan.heights, units=units))
    view = desk.heights_at_a_stop(bench)
    assert "not known" in view.children[1].value


def test_heights_with_a_margin_as_large_as_themselves_are_called_unsure(
    bench: Workbench, demo_plan: Plan
) -> None:
    assert "do NOT choose gear" not in desk.heights_at_a_stop(bench).children[1].value
    units = tuple(
        replace(unit, margin_m=unit.seat_greatest_m) for unit in demo_plan.heights.units
    )
    bench.plan = replace(demo_plan, heights=replace(demo_plan.heights, units=units))
    assert "do NOT choose gear" in desk.heights_at_a_stop(bench).children[1].value


def test_the_stop_view_says_where_the_order_of_work_was_followed(
    bench: Workbench,
) -> None:
    assert bench.plan is not None
    view = desk.heights_at_a_stop(bench)
    slider, text = view.children[0].children[0], view.children[1]
    checked_m = bench.plan.schedule.stop_offset_m
    slider.value = (checked_m + bench.plan.lift.carriers.spacing_m / 2) % slider.max
    assert "NOT checked at this stop" in text.value
    slider.value = checked_m
    assert "NOT checked" not in text.value
    assert "the order of work was followed" in text.value


def test_the_notebook_and_the_paper_say_the_same_of_a_carrier(demo_plan: Plan) -> None:
    words = Words()
    for seed in range(1, 40):
        drill = draw_drill(demo_plan, seed=seed, kind=DrillKind.INCAPACITATED)
        rows = drill_rows(drill, words)[1:]
        papers = [
            [team.team, *carrier_row(drill, carrier, words)]
            for team in drill.teams
            for carrier in team.carriers
        ]
        assert rows == papers
        carriers = [carrier for team in drill.teams for carrier in team.carriers]
        for carrier, row in zip(carriers, rows, strict=True):
            unconscious = "unconscious" in row[-1].casefold()
            assert unconscious == (carrier.incapacitated or carrier.calls_pickoff)
            assert (carrier.people == 0) == row[-1].startswith("Nobody")
        if any(carrier.people == 0 for carrier in carriers):
            return
    pytest.fail("no seed drew an empty carrier")


def test_folders_of_one_name_are_told_apart_in_the_list(
    demo: Path, demo_plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("EVAC_FOLDER", raising=False)
    monkeypatch.setattr(workbench, "make_plan", lambda _lift, **_: demo_plan)
    for place in ("north", "south"):
        shutil.copytree(demo, tmp_path / place / "lift")
    bench = Workbench(desk.find_folders(tmp_path), words=Words())
    labels = [label for label, _ in bench.picker.options]
    assert labels[:2] == ["north/lift", "south/lift"]


def test_a_mistake_while_inputs_are_set_leaves_them_followed() -> None:
    seen: list[object] = []
    slider = widgets.IntSlider()
    slider.observe(seen.append, names="value")

    def set_and_fail() -> None:
        with workbench.quietly(seen.append, slider):
            slider.value = 1
            message = "no such stop"
            raise NoPlanError(message)

    with pytest.raises(NoPlanError):
        set_and_fail()
    assert not seen
    slider.value = 2
    assert len(seen) == 1
