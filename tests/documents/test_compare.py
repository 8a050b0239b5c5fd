"""What changed between two plans is listed, and nothing else."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

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


def record(plan: Plan) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(plan_json(plan))
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
    assert "14-15 asc. is no longer reached." in found
    assert "Everyone is reached: yes before, NO now." in found
    back = changes(
        record(make_plan(unreached_span=14)), record(make_plan()), words=Words()
    )
    assert "14-15 asc. is reached now." in back


def test_a_time_that_leaves_people_out_says_so() -> None:
    before = make_plan()
    now = make_plan(unreached_span=14)
    found = changes(record(before), record(now), words=Words())
    told = [text for text in found if text.startswith("Order to ")]
    assert len(told) == 4
    for text in told:
        earlier, later = text.split(" before, ")
        assert "only those who are reached" not in earlier
        assert later.endswith("(only those who are reached) now.")


@pytest.mark.parametrize(
    ("after_s", "told"),
    [
        # As the plan says it beside: a latest time is never shown later.
        (2310.0, "38 min after the stop"),
        (2280.0, "38 min after the stop"),
        (-95.0, "2 min before the stop (too late)"),
        (None, "no order meets it"),
    ],
)
def test_a_latest_order_is_shown_as_the_plan_shows_it(
    after_s: float | None, told: str
) -> None:
    before, now = record(make_plan()), record(make_plan())
    before["latest"] = [{"reason": "limit", "after_stop_s": 300.0}]
    now["latest"] = [{"reason": "limit", "after_stop_s": after_s}]
    (text,) = changes(before, now, words=Words())
    assert text.endswith(f" before: 5 min after the stop; now: {told}.")


@pytest.mark.parametrize("reason", ["dusk", "cold"])
def test_what_no_order_meets_is_told_apart_from_what_nobody_asks_for(
    reason: str,
) -> None:
    # A mild day asks for no order before the cold; on a bitter one no order helps.
    held, lost, gone = (record(make_plan()) for _ in range(3))
    held["latest"] = [{"reason": reason, "after_stop_s": 300.0}]
    lost["latest"] = [{"reason": reason, "after_stop_s": -95.0}]
    gone["latest"] = []

    def told(before: dict[str, Any], now: dict[str, Any]) -> str:
        (text,) = changes(before, now, words=Words())
        return text.partition(" before: ")[2]

    assert told(held, lost) == "5 min after the stop; now: no order meets it."
    assert told(lost, gone) == "no order meets it; now: no longer asked for."
    assert told(gone, held) == "not asked for; now: 5 min after the stop."
    worse = {**lost, "latest": [{"reason": reason, "after_stop_s": -900.0}]}
    assert changes(lost, worse, words=Words()) == []


def test_a_limit_with_no_known_end_is_met_by_no_order() -> None:
    # Such a limit has no entry in the record, like one that was taken out.
    before, endless = record(make_plan()), record(make_plan())
    before["latest"] = [{"reason": "limit", "after_stop_s": 300.0}]
    endless |= {"latest": [], "limit_met": False, "safe_p90_s": None}
    found = changes(before, endless, words=Words())
    (text,) = (text for text in found if text.startswith("Latest order"))
    assert text.endswith("now: no order meets it.")
    (safe,) = (text for text in found if "all safe" in text)
    assert safe.endswith("not known now.")
    out = {**endless, "limit_met": None, "safe_p90_s": before["safe_p90_s"]}
    found = changes(before, out, words=Words())
    (text,) = (text for text in found if text.startswith("Latest order"))
    assert text.endswith("now: no longer asked for.")


def test_of_two_limits_the_one_that_binds_is_compared() -> None:
    # Two limits have one reason; the tighter one stands first or last.
    before, now = record(make_plan()), record(make_plan())
    before["latest"] = [{"reason": "limit", "after_stop_s": s} for s in (600.0, 3600.0)]
    now["latest"] = [{"reason": "limit", "after_stop_s": s} for s in (3600.0, 300.0)]
    (text,) = changes(before, now, words=Words())
    assert "before: 10 min after the stop; now: 5 min after the stop." in text


@pytest.mark.parametrize(
    ("part", "key", "value"),
    [
        ("units", "known", False),
        ("units", "rope_greatest_m", 2.0),
        ("units", "seat_greatest_m", 2.0),
        ("units", "margin_m", 5.0),
        ("units", "span", "x-y"),
        ("zones", "team", "Team X"),
        ("zones", "first", "7-8"),
        ("zones", "last", "7-8"),
        ("zones", "sides", ["descending"]),
        ("zones", "start_support", "7"),
        ("zones", "technique", "another technique"),
        ("zones", "kit", "another kit"),
        ("zones", "finish_s", 36_000),
        ("latest", "reason", "cold"),
        ("latest", "after_stop_s", 60.0),
        ("", "lift", "Other Six"),
        ("", "inputs", {"lift.toml": "another"}),
        ("", "uncovered", [{"side": "ascending", "span": "4-5"}]),
        ("", "clear_s", 36_000.0),
        ("", "p50_s", 36_000.0),
        ("", "p90_s", 36_000.0),
        ("", "safe_p90_s", 36_000.0),
        ("", "everyone_reached", False),
        ("", "limit_met", None),
    ],
)
def test_each_thing_that_is_recorded_is_told_where_it_changed(
    part: str, key: str, value: object
) -> None:
    now = record(make_plan())
    now["latest"] = [{"reason": "dusk", "after_stop_s": 300.0}]
    before = json.loads(json.dumps(now))
    place = now[part][0] if part else now
    moves = part == "units" and isinstance(value, float)
    place[key] = place[key] + value if moves else value
    assert changes(before, now, words=Words()) != []


def test_a_rope_that_rises_with_its_seats_is_told_once() -> None:
    before, now = record(make_plan()), record(make_plan())
    for key in ("rope_greatest_m", "seat_greatest_m"):
        now["units"][3][key] += 1.5
    (text,) = changes(before, now, words=Words())
    assert text.startswith("Highest seat")


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
    assert joined("14-15 asc. is no longer reached.") in text
