"""Filled observers' sheets of a drill: clock times in, seconds of each step out.

Sheets come back typed by cold fingers: times as 14:05, 14.05.30 or a spreadsheet's
time, lines left blank, a team stopped half-way, midnight passed. A line without both
times is no record, nor is one that stands for several passengers who were taken one
after the other; every such line is named, none is guessed. The day is written once: a
line without one has that of the line above, or the next one past midnight.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from evac.errors import InputError
from evac.facts.drill import DrillRecord
from evac.facts.rehearsal import Observed, Unread
from evac.inputs.cells import (
    BLANK,
    Day,
    Number,
    SheetNumber,
    StepWords,
    Text,
    YesOrBlank,
)
from evac.inputs.problems import problem, reject
from evac.inputs.spreadsheet import first_rows
from evac.inputs.tables import is_spreadsheet, raw_table, read_table

_EVERY_PASSENGER = ("passenger", "metre")
_LONGEST_S = 6 * 3600
_REST_S = 4 * 3600
"""After so long a pause a team is fresh again (common practice, no source)."""
_FAR_BACK = dt.timedelta(hours=12)
"""Lines out of order are hours apart, those across midnight most of a day (common
practice, no source)."""
_CLOCK = re.compile(
    r"(\d{1,2})\s*[:.h]\s*(\d{1,2})(?:\s*[:.]\s*(\d{1,2})(?:[.,]\d+)?)?"
    r"(?:\s*([ap])\.?m\.?)?",
    re.IGNORECASE,
)
_SHARE_OR_CLOCK = re.compile(r"0\.\d{1,2}")
"""0.25 may be a quarter past midnight or a quarter of the day."""


def _clock(value: object) -> object:
    if isinstance(value, dt.datetime):
        return value.time().replace(microsecond=0)
    text = str(value).strip()
    if not text:
        return None
    # A spreadsheet cell without a time format holds the share of a day.
    if isinstance(value, SheetNumber) and text.startswith("0"):
        return _time_of_share(text)
    found = _CLOCK.fullmatch(text)
    if found is None:
        return _time_of_share(text)
    hours, minutes, seconds, half = found.groups()
    # A spreadsheet shortens 14.20 to 14.2, and 14:5 may be 14:05 or 14:50.
    if (
        len(minutes) == 1
        or len(seconds or "00") == 1
        or _SHARE_OR_CLOCK.fullmatch(text)
    ):
        reject("clock_two_readings")
    hour = int(hours)
    if half is not None:
        if not 1 <= hour <= 12:
            reject("not_a_clock_time")
        hour = hour % 12 + (12 if half.lower() == "p" else 0)
    try:
        return dt.time(hour, int(minutes), int(seconds or 0))
    except ValueError:
        reject("not_a_clock_time")


def _time_of_share(text: str) -> dt.time:
    try:
        share = float(text.replace(",", "."))
    except ValueError:
        reject("not_a_clock_time")
    # Rounding up to midnight would be the next day.
    if not 0 <= share < 1 or round(share * 86_400) == 86_400:
        reject("not_a_clock_time")
    seconds = round(share * 86_400)
    return (dt.datetime.min + dt.timedelta(seconds=seconds)).time()


Clock = Annotated[dt.time | None, BeforeValidator(_clock)]


class TimesRow(BaseModel):
    """One line of an observer's sheet."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    date: Annotated[Day | None, BLANK] = None
    team: Text
    span: Text
    carrier: Annotated[Text | None, BLANK] = None
    passenger: Annotated[Text | None, BLANK] = None
    technique: Text
    step: StepWords
    per: Literal["span", "carrier", "passenger", "metre", "support", "change"]
    condition: Annotated[StepWords | None, BLANK] = None
    planned_s: Annotated[Annotated[Number, Field(ge=0)] | None, BLANK] = None
    amount: Annotated[Annotated[Number, Field(gt=0, le=10_000)] | None, BLANK] = None
    begun: Clock = None
    ended: Clock = None
    stopped: YesOrBlank = False
    real: YesOrBlank = False
    took_part: Annotated[Text | None, BLANK] = None
    note: Annotated[Text | None, BLANK] = None


COLUMNS = tuple(TimesRow.model_fields)
"""Columns of the observer's sheet, in order; the drill maker writes the very same."""


def read_times(
    path: Path, *, time_zone: str
) -> tuple[tuple[Observed, ...], tuple[Unread, ...]]:
    """Read one observer's sheet, CSV or XLSX, from its file; see `times_of`."""
    try:
        content = path.read_bytes()
    except OSError as error:
        told = problem("no_sheet", where="the file", found=error.strerror or "")
        raise InputError(path.name, [told]) from None
    return times_of(content, file=path.name, time_zone=time_zone)


def is_sheet(content: bytes, *, file: str) -> bool:
    """Whether a file is an observer's sheet by its columns, whatever its cells hold."""
    try:
        if is_spreadsheet(file):
            # A sheet that will be refused is one too: its reader learns why.
            headers = first_rows(content, file=file)
        else:
            headers = [list(raw_table(content, file=file).header)]
    except InputError:
        return False
    return any({"team", "step", "begun", "ended"} <= set(row) for row in headers)


def times_of(
    content: bytes, *, file: str, time_zone: str
) -> tuple[tuple[Observed, ...], tuple[Unread, ...]]:
    """Read one observer's sheet, CSV or XLSX.

    Parameters
    ----------
    content : bytes
        The whole file.
    file : str
        Its name; ``.xlsx`` is read as a spreadsheet.
    time_zone : str
        IANA name; on a night when clocks change, seconds are counted by it.

    Returns
    -------
    tuple of Observed, tuple of Unread
        The timed lines, in the order of the sheet, and the others with why not.

    Raises
    ------
    InputError
        If the sheet is no such table, or a cell cannot be read.
    """
    table = raw_table(content, file=file)
    rows = read_table(table, model=TimesRow, name="drill_times")
    days = _days(rows, table.numbers, file=file)
    zone = ZoneInfo(time_zone)
    timed: list[tuple[int, TimesRow, dt.datetime, dt.datetime]] = []
    unread: list[Unread] = []
    for number, row, day in zip(table.numbers, rows, days, strict=True):
        span = _clock_span(row, day, zone)
        if isinstance(span, str):
            unread.append(Unread(where=f"{file}, row {number}", reason=span))
        else:
            timed.append((number, row, *span))
    return _observed(file, timed), tuple(unread)


def _days(
    rows: Sequence[TimesRow], numbers: Sequence[int], *, file: str
) -> list[dt.date]:
    """The day of every line: its own, or that of the line above.

    A night drill goes on past midnight without a date.

    Raises
    ------
    InputError
        If a line was timed and neither it nor a line above says on which day.
    """
    days: list[dt.date] = []
    last: dt.date | None = None
    above: dict[str, dt.datetime] = {}
    first: dt.datetime | None = None
    for number, row in zip(numbers, rows, strict=True):
        if row.date is not None:
            last, first = row.date, None
            above.clear()
        if last is None and row.begun is not None and row.ended is not None:
            told = problem("no_day", where=f"row {number}, column date")
            raise InputError(file, [told])
        if last is None or row.begun is None:
            # Before the first day there are lines without times only.
            days.append(last or dt.date.min)
            continue
        # A team new on the sheet began with the first one, or after it.
        begun = _past_midnight(row.begun, above.get(row.team, first), day=last)
        above[row.team] = begun
        first = first or begun
        days.append(begun.date())
    return days


def _past_midnight(
    begun: dt.time, above: dt.datetime | None, *, day: dt.date
) -> dt.datetime:
    """When a line began: on the next day where the clock falls far back from above."""
    if above is None:
        return dt.datetime.combine(day, begun)
    same_day = dt.datetime.combine(above.date(), begun)
    is_past = above - same_day > _FAR_BACK
    return same_day + dt.timedelta(days=1) if is_past else same_day


def _is_one_passenger(row: TimesRow) -> bool:
    """Whether a line stands for what one passenger costs, once."""
    if row.per not in _EVERY_PASSENGER:
        return True
    return row.passenger is not None and (row.per == "metre" or row.amount == 1)


def _clock_span(
    row: TimesRow, day: dt.date, zone: ZoneInfo
) -> tuple[dt.datetime, dt.datetime] | str:
    """Begin and end of a line, or the words key of why it gives no time."""
    if row.begun is None or row.ended is None:
        return "no_time"
    if row.amount is None:
        return "no_amount"
    if not _is_one_passenger(row):
        return "several"
    begun = dt.datetime.combine(day, row.begun, zone)
    ended = dt.datetime.combine(day, row.ended, zone)
    if ended < begun:
        # Past midnight: the line's day is that of the beginning.
        ended += dt.timedelta(days=1)
    for moment in (begun, ended):
        if moment.utcoffset() != moment.replace(fold=1).utcoffset():
            return "clock_change"
    seconds = _seconds(begun, ended)
    if seconds <= 0:
        return "no_length"
    return "too_long" if seconds > _LONGEST_S else (begun, ended)


def _observed(
    file: str, timed: Sequence[tuple[int, TimesRow, dt.datetime, dt.datetime]]
) -> tuple[Observed, ...]:
    since = _at_work_since(timed)
    return tuple(
        Observed(
            record=DrillRecord(
                date=begun.date(),
                team=row.team,
                technique=row.technique,
                step=row.step,
                per=row.per,
                condition=row.condition or "",
                seconds=_seconds(begun, ended),
                amount=row.amount or 1.0,
                stopped=row.stopped,
                real=row.real,
                worked_s=_seconds(since[number], begun),
                where=f"{file}, row {number}",
            ),
            span_id=row.span,
            carrier=row.carrier or "",
            took_part=row.took_part or "",
        )
        for number, row, begun, ended in timed
    )


def _at_work_since(
    timed: Sequence[tuple[int, TimesRow, dt.datetime, dt.datetime]],
) -> dict[int, dt.datetime]:
    """Row number -> when its team began, past midnight too; a long rest begins anew."""
    found: dict[int, dt.datetime] = {}
    begun_at: dict[str, dt.datetime] = {}
    ended_at: dict[str, dt.datetime] = {}
    for number, row, begun, ended in sorted(timed, key=lambda item: item[2]):
        rested = row.team in ended_at and _seconds(ended_at[row.team], begun) > _REST_S
        if rested or row.team not in begun_at:
            begun_at[row.team] = begun
        ended_at[row.team] = max(ended, ended_at.get(row.team, ended))
        found[number] = begun_at[row.team]
    return found


def _seconds(first: dt.datetime, second: dt.datetime) -> float:
    return (second.astimezone(dt.UTC) - first.astimezone(dt.UTC)).total_seconds()
