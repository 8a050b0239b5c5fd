"""Filled observers' sheets are read as cold fingers type them."""

from __future__ import annotations

import datetime as dt
import io
from pathlib import Path

import pytest
from openpyxl import Workbook

from evac import learning
from evac.errors import InputError
from evac.facts.lift import StepTime, Triple
from evac.inputs.drill_times import COLUMNS, is_sheet, read_times, times_of
from evac.rehearsal import compare

ZONE = "Europe/Vienna"
HEAD = ";".join(COLUMNS)
LOOP = "loop over the haul rope belayed from the ground"
MAKE_READY = StepTime(
    technique=LOOP,
    step="make ready",
    per="carrier",
    seconds=Triple(low=60.0, likely=90.0, high=150.0),
    condition="",
)


def sheet(tmp_path: Path, *lines: str) -> Path:
    path = tmp_path / "filled.csv"
    path.write_text("\n".join([HEAD, *lines]) + "\n", encoding="utf-8")
    return path


def line(
    begun: str,
    ended: str,
    *,
    day: str = "2026-11-25",
    amount: str = "1",
    team: str = "A",
    stopped: str = "no",
    step: str = "make ready;carrier",
    passenger: str = "",
) -> str:
    return (
        f"{day};{team};1-2;1;{passenger};{LOOP};{step};;90;{amount};{begun};{ended};"
        f"{stopped};no;;"
    )


def test_clock_times_are_read_as_people_type_them(tmp_path: Path) -> None:
    path = sheet(
        tmp_path,
        line("14:05", "14:07"),
        line("14.05.30", "14.07"),
        line("9:07", "9.08.30 AM"),
        line("2:05 PM", "14:07"),
        line("12.01 a.m.", "0:03"),
        line("0,5", "0,501"),
    )
    observed, unread = read_times(path, time_zone=ZONE)
    assert unread == ()
    assert [item.record.seconds for item in observed] == [120, 90, 90, 120, 120, 86]


@pytest.mark.parametrize("text", ["14.2", "9:7", "14h5", "0.25", "14:05:3"])
def test_a_clock_time_with_two_readings_is_refused(tmp_path: Path, text: str) -> None:
    # A spreadsheet shortens 14.20 to 14.2, and 0.25 may be a quarter of the day.
    with pytest.raises(InputError) as refused:
        read_times(sheet(tmp_path, line(text, "23:00")), time_zone=ZONE)

    assert (
        f"row 2, column begun: found '{text}', expected a clock time with one meaning. "
        "A spreadsheet shortens 14.20 to 14.2: write hours and minutes with a colon "
        "and two digits each, such as 14:20."
    ) in str(refused.value)


def filled_book(*times: tuple[object, object]) -> bytes:
    book = Workbook()
    page = book.active
    assert page is not None
    page.append(list(COLUMNS))
    for begun, ended in times:
        cells: dict[str, object] = dict(
            zip(COLUMNS, line("", "").split(";"), strict=True)
        )
        cells |= {"begun": begun, "ended": ended}
        page.append(list(cells.values()))
    packed = io.BytesIO()
    book.save(packed)
    return packed.getvalue()


def test_cells_of_a_spreadsheet_are_clock_times_or_shares_of_the_day() -> None:
    content = filled_book(
        (0.5, 0.501),
        (0.25, 0.26),
        (dt.time(14, 5), dt.time(14, 7)),
        (dt.datetime(2026, 11, 25, 14, 5), dt.datetime(2026, 11, 25, 14, 7, 30)),
        (14.25, 14.35),
    )
    observed, _ = times_of(content, file="filled.xlsx", time_zone=ZONE)

    assert [item.record.seconds for item in observed] == [86, 864, 120, 150, 600]


@pytest.mark.parametrize("number", [14.2, 1405, 14, 1.5])
def test_a_number_that_is_no_clock_time_is_refused(number: float) -> None:
    with pytest.raises(InputError, match="expected a clock time"):
        times_of(filled_book((number, 14.35)), file="f.xlsx", time_zone=ZONE)


def test_a_sheet_that_will_be_refused_is_one_all_the_same() -> None:
    # Otherwise a folder's sheet with an uncomputed formula would not even be offered.
    content = filled_book(("=1+1", "14:05"))

    assert is_sheet(content, file="filled.xlsx")
    with pytest.raises(InputError, match="1', expected a value"):
        times_of(content, file="filled.xlsx", time_zone=ZONE)


def test_a_drill_past_midnight_has_no_negative_time(tmp_path: Path) -> None:
    observed, _ = read_times(sheet(tmp_path, line("23:59", "0:03")), time_zone=ZONE)
    assert observed[0].record.seconds == 240


def test_the_night_of_the_clock_change_counts_real_seconds(tmp_path: Path) -> None:
    # Clocks go back at 03:00 on 2026-10-25 in the EU (Directive 2000/84/EC): from
    # 01:30 to 03:30 two hours of the clock are three real ones.
    spanning = line("1:30", "3:30", day="2026-10-25")
    within = line("2:15", "2:20", day="2026-10-25")
    observed, unread = read_times(sheet(tmp_path, spanning, within), time_zone=ZONE)
    assert [item.record.seconds for item in observed] == [3 * 3600]
    assert [item.reason for item in unread] == ["clock_change"]


def test_lines_without_times_are_named_not_guessed(tmp_path: Path) -> None:
    path = sheet(
        tmp_path,
        line("14:05", ""),
        line("14:05", "14:05"),
        line("14:05", "23:59"),
        line("14:05", "14:06", amount=""),
    )
    observed, unread = read_times(path, time_zone=ZONE)
    assert observed == ()
    assert [(item.where, item.reason) for item in unread] == [
        ("filled.csv, row 2", "no_time"),
        ("filled.csv, row 3", "no_length"),
        ("filled.csv, row 4", "too_long"),
        ("filled.csv, row 5", "no_amount"),
    ]


def test_a_time_that_is_none_is_refused_with_its_cell(tmp_path: Path) -> None:
    with pytest.raises(InputError) as refused:
        read_times(sheet(tmp_path, line("soon", "14:06")), time_zone=ZONE)
    assert "row 2, column begun: found 'soon'" in str(refused.value)


def test_how_long_a_team_was_at_work_is_counted_from_its_first_line(
    tmp_path: Path,
) -> None:
    path = sheet(tmp_path, line("14:00", "14:05"), line("15:10", "15:12"))
    observed, _ = read_times(path, time_zone=ZONE)
    assert [item.record.worked_s for item in observed] == [0, 4200]


def test_hours_of_a_spring_night_that_do_not_exist_are_named(tmp_path: Path) -> None:
    # Clocks go forward at 02:00 on 2026-03-29 in the EU (Directive 2000/84/EC): from
    # 01:50 to 03:10 are twenty real minutes, and there is no 02:30.
    spanning = line("1:50", "3:10", day="2026-03-29")
    within = line("2:20", "2:40", day="2026-03-29")
    observed, unread = read_times(sheet(tmp_path, spanning, within), time_zone=ZONE)
    assert [item.record.seconds for item in observed] == [20 * 60]
    assert [item.reason for item in unread] == ["clock_change"]


def test_decimal_commas_are_read_in_a_sheet_with_semicolons(tmp_path: Path) -> None:
    path = sheet(
        tmp_path, line("14:05", "14:06", amount="12,5"), line("0,5", "0,50125")
    )
    observed, _ = read_times(path, time_zone=ZONE)
    assert [item.record.amount for item in observed] == [12.5, 1.0]
    # 0.5 of a day is noon; 0.00125 of a day is 108 s.
    assert [item.record.seconds for item in observed] == [60, 108]


def test_a_spreadsheets_own_times_and_days_are_read() -> None:
    book = Workbook()
    book.active.append(list(COLUMNS))
    row = dict.fromkeys(COLUMNS, None) | {
        "date": dt.datetime(2026, 11, 25),
        "team": "A",
        "span": "1-2",
        "technique": LOOP,
        "step": "make ready",
        "per": "carrier",
        "amount": 1,
        "begun": dt.time(14, 5, 30),
        "ended": dt.datetime(1899, 12, 30, 14, 7),
        "stopped": "no",
        "real": "no",
        "took_part": "2 rescuers",
    }
    book.active.append([row[name] for name in COLUMNS])
    filled = io.BytesIO()
    book.save(filled)
    observed, unread = times_of(filled.getvalue(), file="s.xlsx", time_zone=ZONE)
    assert unread == ()
    assert observed[0].record.seconds == 90
    assert observed[0].record.date == dt.date(2026, 11, 25)
    assert observed[0].took_part == "2 rescuers"


def test_a_team_stopped_half_way_teaches_only_that_it_takes_longer(
    tmp_path: Path,
) -> None:
    path = sheet(
        tmp_path,
        line("14:00", "14:02"),
        line("14:02", "14:12", stopped="yes"),
    )
    observed, _ = read_times(path, time_zone=ZONE)
    assert [item.record.stopped for item in observed] == [False, True]
    found = compare(observed, (MAKE_READY,)).by_step[0]
    assert (found.count, found.stopped) == (1, 1)
    assert (found.planned_s, found.actual_s) == (90, 120)

    def typical_s(*lines: str) -> float:
        records = read_times(sheet(tmp_path, *lines), time_zone=ZONE)[0]
        learned = learning.learn((MAKE_READY,), [item.record for item in records])
        return learned.steps[0].typical_s[1]

    done, cut = "14:02", line("14:02", "14:12", stopped="yes")
    alone = typical_s(line("14:00", done))
    # Cut short after ten minutes: longer than that, so more than one finished in ten.
    assert typical_s(line("14:00", done), cut) > typical_s(
        line("14:00", done), line("14:02", "14:12")
    )
    # Cut short after two seconds: next to nothing is learned.
    barely = line("14:02:00", "14:02:02", stopped="yes")
    assert typical_s(line("14:00", done), barely) == pytest.approx(alone, rel=0.02)


def test_a_team_that_works_past_midnight_has_not_rested(tmp_path: Path) -> None:
    path = sheet(
        tmp_path,
        line("22:30", "22:40"),
        line("0:30", "0:40", day="2026-11-26"),
        line("9:00", "9:10", day="2026-11-26"),
        line("0:30", "0:40", day="2026-11-26", team="B"),
    )
    observed, _ = read_times(path, time_zone=ZONE)
    assert [item.record.worked_s for item in observed] == [0, 7200, 0, 0]


def test_old_sheets_without_who_took_part_are_read(tmp_path: Path) -> None:
    path = sheet(tmp_path, line("14:05", "14:07"))
    text = (
        path.read_text("utf-8").replace(";took_part", "").replace(";no;no;;", ";no;no;")
    )
    path.write_text(text, "utf-8")
    observed, _ = read_times(path, time_zone=ZONE)
    assert [item.took_part for item in observed] == [""]


def test_a_sheet_is_known_by_its_columns(tmp_path: Path) -> None:
    filled = sheet(tmp_path, line("14:05", "14:07")).read_bytes()
    assert is_sheet(filled, file="any name.csv")
    assert not is_sheet(b"team,crew\nA,3\n", file="teams.csv")
    assert not is_sheet(b"", file="empty.csv")
    assert not is_sheet(b"PK\x03\x04 no spreadsheet", file="broken.xlsx")


def test_a_sheet_meets_its_step_whatever_the_letters(tmp_path: Path) -> None:
    # Filled in by hand, a spreadsheet makes the first letter a capital.
    typed = line("14:05", "14:07").replace("make ready", "Make ready")

    (seen,), _ = read_times(sheet(tmp_path, typed), time_zone=ZONE)

    assert learning.row_of([MAKE_READY], seen.record) is MAKE_READY


def test_the_day_is_written_once_and_holds_until_another(tmp_path: Path) -> None:
    path = sheet(
        tmp_path,
        line("", "", day=""),
        line("22:00", "22:02", day="2026-11-05"),
        line("22:03", "22:05", day="", team="B"),
        line("0:10", "0:12", day="2026-11-06"),
        line("0:13", "0:15", day=""),
    )
    observed, unread = read_times(path, time_zone=ZONE)
    assert [item.record.date.day for item in observed] == [5, 5, 6, 6]
    assert [item.record.worked_s for item in observed] == [0, 0, 7800, 7980]
    assert [item.reason for item in unread] == ["no_time"]


def test_a_night_drill_goes_on_past_midnight_without_a_date(tmp_path: Path) -> None:
    path = sheet(
        tmp_path,
        line("23:50", "23:58", day="2026-11-05"),
        line("0:05", "0:10", day=""),
        line("", "", day=""),
        line("0:20", "0:25", day=""),
        # Another team: it began with the first one, and one that came at midnight.
        line("23:40", "23:45", day="", team="B"),
        line("0:10", "0:12", day="", team="B"),
        line("0:15", "0:17", day="", team="C"),
        # Lines out of order are no midnight.
        line("14:00", "14:05", day="2026-11-07"),
        line("9:00", "9:05", day=""),
    )
    observed, _ = read_times(path, time_zone=ZONE)
    assert [item.record.date.day for item in observed] == [5, 6, 6, 5, 6, 6, 7, 7]
    assert [item.record.worked_s for item in observed[:3]] == [0, 900, 1800]


def test_a_timed_line_of_no_day_is_refused(tmp_path: Path) -> None:
    path = sheet(
        tmp_path, line("9:00", "9:02", day=""), line("9:03", "9:05", day="2026-11-05")
    )
    with pytest.raises(InputError) as refused:
        read_times(path, time_zone=ZONE)
    assert (
        "row 2, column date: found nothing, expected the day of the drill. Write it in "
        "the first line"
    ) in str(refused.value)


def test_one_begin_and_end_of_several_passengers_is_no_time_of_a_step(
    tmp_path: Path,
) -> None:
    # They are prepared, lowered and released one after the other: the first begin and
    # the last end of "prepare" hold the lowering of all but the last.
    path = sheet(
        tmp_path,
        line("9:00", "9:04", step="prepare a passenger;passenger", amount="3"),
        line("9:01", "9:05", step="lower;metre", amount="33"),
        line("9:10", "9:11", step="prepare a passenger;passenger", passenger="1"),
        line("9:11", "9:12", step="lower;metre", amount="11", passenger="1"),
        line("9:12", "9:13", step="prepare a passenger;passenger", passenger="2"),
        line("9:13", "9:15", step="lower;metre", amount="11", passenger="2"),
    )
    observed, unread = read_times(path, time_zone=ZONE)
    assert [(item.where, item.reason) for item in unread] == [
        ("filled.csv, row 2", "several"),
        ("filled.csv, row 3", "several"),
    ]
    assert [item.record.seconds for item in observed] == [60, 60, 60, 120]


def test_an_old_sheet_teaches_what_a_carrier_costs_and_names_the_rest(
    tmp_path: Path,
) -> None:
    path = sheet(
        tmp_path,
        line("9:00", "9:02"),
        line("9:02", "9:07", step="lower;metre", amount="33"),
    )
    old = path.read_text("utf-8").replace("carrier;passenger;", "carrier;", 1)
    path.write_text(old.replace(f"1-2;1;;{LOOP}", f"1-2;1;{LOOP}"), "utf-8")
    observed, unread = read_times(path, time_zone=ZONE)
    assert [item.record.step for item in observed] == ["make ready"]
    assert [item.reason for item in unread] == ["several"]
