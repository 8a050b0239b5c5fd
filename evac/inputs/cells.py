"""What a cell of a table says: numbers, lengths, dates, yes or no, lists, names.

A cell comes as text (CSV) or as text or a real date (spreadsheet). Each type here is
a pydantic type that reads it, and raises an error whose ``type`` names a sentence of
``inputs.toml``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated

from pydantic import BeforeValidator, Field, ValidationInfo

from evac.inputs.problems import OPEN, reject
from evac.units import FOOT_M

Cell = str | date
"""A text, or a date (with its time of day, where a spreadsheet has one)."""


class SheetNumber(str):
    """A number of a spreadsheet cell, as text: no person typed these very signs."""

    __slots__ = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """How the cells of one table are written.

    ``comma_decimals``: a comma may be the decimal mark (the cells are separated by
    semicolons or tabs). ``comma_seen``: at least one number does use it, so that a
    point can only be a thousands mark. ``feet``: columns whose header says feet.
    """

    comma_decimals: bool = False
    comma_seen: bool = False
    feet: frozenset[str] = frozenset()


POINT_READING = Reading()

# 1 412 and 1'412: blanks (plain, no-break, thin) and apostrophes by threes.
_GROUPED = re.compile(
    r"^([+-]?\d{1,3})((?:[ \u00a0\u2009\u202f'\u2019]\d{3})+)(?![\d])"
)
_PLAIN = re.compile(r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?$")
_THOUSANDS_POINT = re.compile(r"^[+-]?\d{1,3}(\.\d{3})+$")
_FEET = re.compile(
    r"^(?P<feet>[^'\u2032ft]*?)\s*(?:ft\.?|feet|foot|'|\u2032)\s*(?P<rest>.*)$"
)
_INCHES = re.compile(
    r"^(?P<inches>\d+(?:\.\d+)?)\s*(?:\"|\u2033|''|in\.?|inch(?:es)?)$"
)
_ABOVE_SEA = re.compile(
    r"^(?P<number>.*?\d)\s*m[\s.]*(?:(?:\u00fc|u)[\s.]*(?:m|nn|nhn)|a[\s.]*s[\s.]*l"
    r"|s[\s.]*l[\s.]*m|nhn|nn)\.?$",
    re.IGNORECASE,
)
"""``1412 m \u00fc. M.``, ``1412 m a.s.l.``: metres above the sea."""
_ELEVATIONS = frozenset({"ground_m", "ascending_m", "descending_m"})
_METRES = re.compile(r"^(?P<number>.*?)\s*(?:m|metres?|meters?)$")
_DAY, _MONTH = r"(?:0?[1-9]|[12]\d|3[01])", r"(?:0?[1-9]|1[0-2])"
_WORDS_AROUND = re.compile(r"[^\d%]*?(?P<number>-?\d+(?:\.\d+)?(?:e[+-]?\d+)?)[^\d%]*")
_WHOLE_DATE = re.compile(
    rf"(?:{_DAY}[./-]{_MONTH}|{_MONTH}[./-]{_DAY})[./-]\d{{4}}"
    rf"|\d{{4}}[./-]{_MONTH}[./-]{_DAY}(?:[ t]\d\d:\d\d(?::\d\d)?)?"
    # 24-03-17 is a rope's serial as often as a date.
    r"|\d\d?/\d\d?/\d\d|\d\d\.\d\d\.\d\d"
    # 3/4 may be a support's name; 03/04 is what a spreadsheet makes of it.
    r"|0[1-9]/[0-3]\d|[0-3]\d/0[1-9]"
)
_ENGLISH_OR_GERMAN = (
    "jan|january|januar|feb|february|februar|mar|march|m\u00e4r|m\u00e4rz|apr|april"
    "|may|mai|jun|june|juni|jul|july|juli|aug|august|sep|sept|september|oct|october"
    "|okt|oktober|nov|november|dec|december|dez|dezember"
)
_OTHER_MONTHS = (
    # French, Italian, Spanish, Norwegian, Swedish
    "janv|janvier|f\u00e9vr|f\u00e9vrier|mars|avr|avril|juin|juil|juillet|ao\u00fbt"
    "|septembre|octobre|novembre|d\u00e9c|d\u00e9cembre"
    "|gen|gennaio|febbraio|marzo|aprile|mag|maggio|giu|giugno|lug|luglio|ago|agosto"
    "|set|settembre|ott|ottobre|dic|dicembre"
    "|ene|enero|febrero|abr|abril|mayo|junio|julio|septiembre|octubre|noviembre"
    "|diciembre|des|desember|maj"
)
_MONTH_NAME = re.compile(
    rf"\d{{1,2}}[-. ]+(?:{_ENGLISH_OR_GERMAN})\.?"
    rf"|(?:{_ENGLISH_OR_GERMAN})[-. ]+\d{{1,2}}"
    # "2 set" is a kit's name to some and 2 September to others: with a mark only.
    rf"|\d{{1,2}}(?:-|\.|\. )(?:{_OTHER_MONTHS})\.?"
    rf"|\d{{1,2}}[-. ]+(?:{_ENGLISH_OR_GERMAN}|{_OTHER_MONTHS})\.?[-. ]+\d{{2,4}}",
    re.IGNORECASE,
)
_DOTTED_DAY = re.compile(r"(\d{1,2})\. ?(\d{1,2})\. ?(\d{4})", re.ASCII)
_ONE_COMMA = re.compile(r"[+-]?\d+,(?:\d{1,2}|\d{4,})")
"""A comma that marks no thousands, since these come by three digits."""
_NO_VALUE = frozenset(
    {"nan", "-nan", "nat", "<na>", "#n/a", "#na", "#ref!", "#value!", "#name?"}
    | {"#div/0!", "#null!", "#num!"}
)
_MARKED_AS_TEXT = re.compile(r"'+[=+\-@]")
"""An apostrophe before the sign of a formula is a spreadsheet's mark of a text."""
_YES = frozenset({"yes", "y", "true", "x", "1"})
_NO = frozenset({"no", "n", "false", "0"})
_OWN_UNITS = {
    "_m_per_s": "m/s",
    "_deg": "\u00b0|deg",
    "_min": "min",
    "_kg": "kg",
    "_mj": "mj",
    "_s": "s|sec",
    "lat": "\u00b0",
    "lon": "\u00b0",
    "crew": "people|persons|rescuers",
}
"""Units that a cell may repeat, because its column is in them."""


def is_blank(value: object) -> bool:
    """Whether nothing stands there."""
    return value is None or (isinstance(value, str) and not value.strip())


def plain_number(text: str, *, reading: Reading = POINT_READING) -> float:
    """The number a cell states, by the way its table writes numbers.

    Raises
    ------
    pydantic_core.PydanticCustomError
        ``not_a_number`` or ``two_readings`` (``2,100`` may be 2100 or 2.1).

    Examples
    --------
    >>> comma = Reading(comma_decimals=True, comma_seen=True)
    >>> plain_number("1.553,4", reading=comma), plain_number("1 412.5")
    (1553.4, 1412.5)
    """
    text = text.strip().replace("\u2212", "-")
    grouped = _GROUPED.match(text)
    if grouped:
        tail = text[grouped.end() :]
        text = grouped[1] + re.sub(r"\D", "", grouped[2]) + tail
    if "," in text:
        if not reading.comma_decimals and _ONE_COMMA.fullmatch(text):
            reject("comma_for_point", meant=text.replace(",", "."))
        if not reading.comma_decimals:
            reject("two_readings" if "." not in text else "not_a_number")
        whole, _, part = text.rpartition(",")
        if "," in whole or "." in part:
            reject("not_a_number")
        if "." in whole and not _THOUSANDS_POINT.match(whole):
            reject("not_a_number")
        text = f"{whole.replace('.', '')}.{part}"
    elif reading.comma_seen and _THOUSANDS_POINT.match(text):
        reject("two_readings")
    if not _PLAIN.match(text):
        reject("not_a_number")
    return float(text)


def _number(value: object, info: ValidationInfo) -> object:
    if isinstance(value, date):
        reject("date_for_number")
    if not isinstance(value, str):
        return value
    if is_blank(value):
        reject("blank")
    if value.strip() == OPEN:
        reject("still_open")
    column, reading = info.field_name or "", _reading(info)
    if column.endswith("_share") and value.strip().endswith("%"):
        return plain_number(value.strip()[:-1], reading=reading) / 100
    return plain_number(_without_own_unit(value, column=column), reading=reading)


def _without_own_unit(text: str, *, column: str) -> str:
    for ending, units in _OWN_UNITS.items():
        if column.endswith(ending):
            stated = re.fullmatch(
                rf"(.*\d\.?)\s*(?:{units})", text.strip(), re.IGNORECASE
            )
            return stated[1] if stated else text
    return text


def _money(value: object, info: ValidationInfo) -> object:
    """A number whose cell may show any currency: costs are only compared."""
    if isinstance(value, SheetNumber):
        shown = _WORDS_AROUND.fullmatch(value)
        if shown:
            return _number(shown["number"], info)
    return _number(value, info)


def _length(value: object, info: ValidationInfo) -> object:
    """Metres; ``432'``, ``41'6"`` and ``6890 ft`` are feet whatever the header says."""
    reading = _reading(info)
    if isinstance(value, str) and not is_blank(value):
        text = value.strip()
        grouped = _GROUPED.match(text)
        body = text[grouped.end() :] if grouped else text
        if any(mark in body.lower() for mark in ("'", "\u2032", "ft", "feet", "foot")):
            return feet_in_metres(text, reading=reading)
        metres = _METRES.match(text)
        if info.field_name in _ELEVATIONS:
            metres = _ABOVE_SEA.match(text) or metres
        if metres:
            return plain_number(metres["number"], reading=reading)
    number = _number(value, info)
    if isinstance(number, float) and info.field_name in reading.feet:
        return number * FOOT_M
    return number


def feet_in_metres(text: str, *, reading: Reading = POINT_READING) -> float:
    r"""Metres of a length in feet, with or without inches.

    Examples
    --------
    >>> round(feet_in_metres("432'"), 3), round(feet_in_metres("41'6\""), 4)
    (131.674, 12.6492)
    """
    match = _FEET.match(text.strip().lower())
    if match is None:
        reject("not_a_number")
    feet = plain_number(match["feet"], reading=reading)
    rest = match["rest"].strip()
    inches = 0.0
    if rest:
        part = _INCHES.match(rest)
        if part is None or float(part["inches"]) >= 12:
            reject("not_a_number")
        inches = float(part["inches"])
    sign = -1.0 if feet < 0 else 1.0
    return (feet + sign * inches / 12) * FOOT_M


def is_feet(text: str) -> bool:
    """Whether a cell says feet itself."""
    lower = text.strip().lower()
    return bool(re.search(r"\d\s*(ft\b|feet|foot)", lower)) or bool(
        re.search(r"\d\s*['\u2032](?!\d{3})", lower)
    )


def _whole(value: object, info: ValidationInfo) -> object:
    number = _number(value, info)
    if isinstance(number, float):
        if abs(number) > 1e15 or number != int(number):
            reject("not_whole")
        return int(number)
    return number


def require_value(text: str) -> None:
    """Refuse what programs write where they had nothing to write.

    A name that reads ``nan`` was an empty cell once, and ``#REF!`` a broken formula.
    """
    if text.lower() in _NO_VALUE:
        reject("no_value")


def _text(value: object) -> object:
    if isinstance(value, date):
        reject("turned_into_date")
    if isinstance(value, str):
        text = value.strip()
        if text == OPEN:
            reject("still_open")
        if any(ord(c) < 32 or ord(c) == 127 for c in text):
            reject("control_character")
        require_value(text)
        return text[1:] if _MARKED_AS_TEXT.match(text) else text
    return value


def _identity(value: object) -> object:
    text = _text(value)
    if isinstance(text, str):
        if not text:
            reject("blank")
        if _MONTH_NAME.fullmatch(text) or _WHOLE_DATE.fullmatch(text.lower()):
            reject("turned_into_date")
    return text


def day_of(text: str) -> date:
    """The day of ``2026-11-25`` or ``25.11.2026``: with dots the day comes first.

    Raises
    ------
    ValueError
        If it is neither; with slashes the month comes first in some countries.

    Examples
    --------
    >>> day_of("30.04.2027")
    datetime.date(2027, 4, 30)
    """
    dotted = _DOTTED_DAY.fullmatch(text.strip())
    if dotted:
        return date(int(dotted[3]), int(dotted[2]), int(dotted[1]))
    return date.fromisoformat(text.strip())


def _day(value: object) -> object:
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    if isinstance(value, str):
        try:
            return day_of(value)
        except ValueError:
            reject("not_a_date")
    return value


def _yes_no(value: object) -> object:
    if isinstance(value, bool):
        return value
    word = str(value).strip().lower()
    if not word:
        reject("blank")
    if word in _YES:
        return True
    if word not in _NO:
        reject("not_yes_or_no")
    return False


def _yes_or_blank(value: object) -> object:
    return False if is_blank(value) else _yes_no(value)


def _names(value: object) -> object:
    """A list with ``|`` between its members."""
    text = _text(value)
    if isinstance(text, str):
        return tuple(part.strip() for part in text.split("|") if part.strip())
    return text


def small_letters(text: str) -> str:
    """The text as names of steps are compared: small letters, single blanks.

    Examples
    --------
    >>> small_letters(" Add for  steep ground")
    'add for steep ground'
    """
    return re.sub("[ \u00a0]+", " ", text).strip(" ").lower()


def _step_words(value: object) -> object:
    return small_letters(value) if isinstance(value, str) else value


def _blank_to_none(value: object) -> object:
    return None if is_blank(value) else value


def _reading(info: ValidationInfo) -> Reading:
    return info.context if isinstance(info.context, Reading) else POINT_READING


BLANK = BeforeValidator(_blank_to_none)
"""Around a type ``X | None``: a blank cell is None."""

Number = Annotated[float, Field(allow_inf_nan=False), BeforeValidator(_number)]
Metres = Annotated[float, Field(allow_inf_nan=False), BeforeValidator(_length)]
Money = Annotated[float, Field(allow_inf_nan=False), BeforeValidator(_money)]
Whole = Annotated[int, BeforeValidator(_whole)]
Text = Annotated[str, Field(max_length=500), BeforeValidator(_text)]
StepWords = Annotated[Text, BeforeValidator(_step_words)]
"""A step or its condition: what a step counts for hangs on how its name begins."""
Identity = Annotated[str, Field(max_length=80), BeforeValidator(_identity)]
Day = Annotated[date, BeforeValidator(_day)]
YesNo = Annotated[bool, BeforeValidator(_yes_no)]
YesOrBlank = Annotated[bool, BeforeValidator(_yes_or_blank)]
"""For columns that may be left out: a blank cell is no."""
Names = Annotated[tuple[str, ...], BeforeValidator(_names)]
