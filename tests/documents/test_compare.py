"""What changed between two plans is listed, and nothing else."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from made_plan import make_long_lift, make_plan
from paper_text import joined, read_pages

from evac.documents.bundle import write_documents
from evac.documents.compare import changes
from evac.errors import InputError
from evac.facts.plan import Plan
from evac.inputs.earlier_plan import read_record
from evac.tables_out import plan_json
from evac.words import Words


def record(plan: Plan) -> dict[str, object]:
    found: dict[str, object] = json.loads(plan_json(plan))
    return found


def test_the_same_plan_has_no_changes() -> None:
    assert changes(record(make_plan()), record(make_plan()), words=Words()) == []


def test_a_changed_height_zone_and_time_are_each_named() -> None:
    before = make_plan()
    units = list(before.heights.units)
    units[4] = replace(units[4], seat_greatest_m=units[4].seat_greatest_m + 1.5)
    zones = list(before.assignment.zones)
    zones[0] = replace(zones[0], finish_s=zones[0].finish_s + 600)
    now = replace(
        before,
        heights=replace(before.heights, units=tuple(units)),
        assignment=replace(before.assignment, zones=tuple(zones)),
        simulation=replace(before.simulation, p90_s=before.simulation.p90_s + 3600),
    )
    found = changes(record(before), record(now), words=Words())
    # The last zone's end is the likely time of the line too.
    assert len(found) == 4
    seat = before.heights.units[4].seat_greatest_m
    assert (
        f"Highest seat (cabins: door sill) in 4-5 asc.: {seat:.1f} m before, "
        f"{seat + 1.5:.1f} m now." in (found)
    )
    assert sum(text.startswith("Team 1: ") for text in found) == 1
    assert sum("P90" in text for text in found) == 1


def test_a_height_that_moves_less_than_it_is_printed_is_no_change() -> None:
    before = make_plan()
    units = list(before.heights.units)
    units[0] = replace(units[0], seat_greatest_m=units[0].seat_greatest_m + 0.04)
    now = replace(before, heights=replace(before.heights, units=tuple(units)))
    assert changes(record(before), record(now), words=Words()) == []


def test_a_span_that_is_lost_is_named() -> None:
    found = changes(
        record(make_plan()), record(make_plan(unreached_span=14)), words=Words()
    )
    assert "No longer reached: 14-15 asc.." in found or any(
        "No longer reached: 14-15 asc." in text for text in found
    )
    assert any("Everyone is reached: yes before, NO now." in text for text in found)


def test_another_lift_is_said_first() -> None:
    other = make_plan(make_long_lift(name="Other Six"))
    found = changes(record(make_plan()), record(other), words=Words())
    assert "another lift" in found[0]


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (None, "no file that can be read"),
        ("not json", "something that is not JSON"),
        ("[]", "a file that evac did not write"),
        ('{"schema": 99}', "schema 99, made by a newer evac"),
        ('{"schema": 1}', "a damaged record: lift"),
        ("[" * 100_000, "something that is not JSON"),
    ],
)
def test_what_cannot_be_compared_is_refused(
    content: str | None, found: str, tmp_path: Path
) -> None:
    if content is not None:
        (tmp_path / "plan.json").write_text(content, "utf-8")
    with pytest.raises(InputError) as caught:
        read_record(tmp_path)
    assert found in str(caught.value)
    assert "--compare-with" in str(caught.value)


@pytest.mark.parametrize(
    ("part", "value", "place"),
    [
        ("units", 5, "units"),
        ("zones", [{"team": "Team 1"}], "zones.0.first"),
        ("clear_s", "12", "clear_s"),
        ("p90_s", float("nan"), "p90_s"),
        ("uncovered", [{"side": "left", "span": "1-2"}], "uncovered.0.side"),
    ],
)
def test_a_damaged_record_is_refused_before_it_is_compared(
    part: str, value: object, place: str, tmp_path: Path
) -> None:
    damaged = {**record(make_plan()), part: value}
    (tmp_path / "plan.json").write_text(json.dumps(damaged), "utf-8")
    with pytest.raises(InputError) as caught:
        read_record(tmp_path)
    assert f"a damaged record: {place}" in str(caught.value)


def test_a_record_is_read_as_it_was_written(tmp_path: Path) -> None:
    written = record(make_plan())
    (tmp_path / "plan.json").write_text(json.dumps(written), "utf-8")
    assert read_record(tmp_path) == {k: v for k, v in written.items() if k != "schema"}


def test_the_output_folder_is_written_and_a_later_plan_lists_what_changed(
    tmp_path: Path,
) -> None:
    words = Words()
    names = write_documents(make_plan(), tmp_path / "first", words=words)
    for name in names:
        assert (tmp_path / "first" / name).stat().st_size > 0
    assert {"plan.pdf", "section.pdf", "section.svg", "sheets_all.pdf"} <= set(names)
    assert {"map.html", "plan.xlsx", "places.gpx", "plan.json"} <= set(names)
    write_documents(
        make_plan(unreached_span=14),
        tmp_path / "second",
        words=words,
        compare_with=tmp_path / "first",
    )
    pages = read_pages((tmp_path / "second" / "plan.pdf").read_bytes())
    text = "".join(page.joined for page in pages)
    assert joined("What changed since the earlier plan") in text
    assert joined("No longer reached: 14-15 asc.") in text
