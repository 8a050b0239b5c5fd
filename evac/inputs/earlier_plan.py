"""The record of an earlier plan, ``plan.json``, checked before anything uses it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from evac.errors import InputError, Problem
from evac.words import Words

RECORD = "plan.json"
_SCHEMA = 1
_MOST_MB = 20

_Side = Literal["ascending", "descending"]
_Number = Annotated[float, Field(allow_inf_nan=False)] | None


class _Part(BaseModel):
    model_config = ConfigDict(strict=True, extra="ignore")


class _Unit(_Part):
    side: _Side
    span: str
    known: bool
    rope_greatest_m: _Number
    seat_greatest_m: _Number
    margin_m: _Number


class _Zone(_Part):
    team: str
    first: str
    last: str
    sides: list[_Side]
    start_support: str
    technique: str
    kit: str
    finish_s: int


class _Uncovered(_Part):
    side: _Side
    span: str


class _Latest(_Part):
    reason: str
    after_stop_s: _Number


class _Record(_Part):
    lift: str
    revision: str
    date: str
    fingerprint: str
    inputs: dict[str, str] = Field(default_factory=dict)
    units: list[_Unit]
    zones: list[_Zone]
    uncovered: list[_Uncovered]
    clear_s: _Number
    p50_s: _Number
    p90_s: _Number
    safe_p90_s: _Number
    latest: list[_Latest]
    everyone_reached: bool
    limit_met: bool | None


def read_record(folder: Path) -> dict[str, Any]:
    """The record of an earlier plan.

    Parameters
    ----------
    folder : Path
        An earlier output folder, or its ``plan.json``.

    Raises
    ------
    InputError
        If there is no record, or it cannot be compared with this version's.
    """
    words = Words()
    path = folder / RECORD if folder.is_dir() else folder
    try:
        if path.stat().st_size > _MOST_MB * 1_000_000:
            raise _refusal(path, words.say("earlier.too_large", most_mb=_MOST_MB))
        content = json.loads(path.read_text("utf-8"))
    except OSError as error:
        raise _refusal(path, words.say("earlier.no_file")) from error
    except (ValueError, RecursionError) as error:
        raise _refusal(path, words.say("earlier.no_json")) from error
    if not isinstance(content, dict) or not isinstance(content.get("schema"), int):
        raise _refusal(path, words.say("earlier.strange"))
    if content["schema"] > _SCHEMA:
        raise _refusal(
            path,
            words.say("earlier.newer", schema=content["schema"]),
            remedy=words.say("earlier.remedy_newer"),
        )
    try:
        return _Record.model_validate(content).model_dump()
    except ValidationError as error:
        place = ".".join(str(part) for part in error.errors()[0]["loc"])
        raise _refusal(path, words.say("earlier.damaged", place=place)) from error


def _refusal(path: Path, found: str, *, remedy: str = "") -> InputError:
    words = Words()
    return InputError(
        path,
        [
            Problem(
                where=words.say("earlier.where"),
                found=found,
                expected=words.say("earlier.expected", record=RECORD),
                remedy=remedy or words.say("earlier.remedy"),
            )
        ],
    )
