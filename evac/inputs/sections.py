"""The sections of ``lift.toml`` as the user writes them, and how a value is read.

Units are the user's (kN, MN, minutes); :mod:`evac.inputs.build` turns sections into
facts.
"""

from __future__ import annotations

import math
import re
from datetime import date, datetime, time
from typing import Annotated, Literal, NoReturn
from zoneinfo import ZoneInfo

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    model_validator,
)

from evac.inputs.cells import day_of, require_value
from evac.inputs.problems import OPEN, did_you_mean, reject
from evac.reference import plan_contents


def _number(value: object) -> object:
    if value == OPEN:
        reject("still_open")
    if isinstance(value, str):
        _number_in_quotes(value)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        reject("not_a_number")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        reject("finite_number")
    return number


def _number_in_quotes(text: str) -> NoReturn:
    if not text.strip():
        reject("blank")
    try:
        float(text)
    except ValueError:
        reject("not_a_number")
    reject("number_in_quotes")


def _whole(value: object) -> object:
    number = _number(value)
    if isinstance(number, float) and (abs(number) > 1e15 or number != int(number)):
        reject("not_whole")
    return value


def _flag(value: object) -> object:
    if not isinstance(value, bool):
        reject("not_true_or_false")
    return value


def _text(value: object) -> object:
    if not isinstance(value, str):
        reject("not_a_text")
    text = value.strip()
    if text == OPEN:
        reject("still_open")
    if any((ord(c) < 32 and c not in "\n\t") or ord(c) == 127 for c in text):
        reject("control_character")
    require_value(text)
    return text


def _word(value: object) -> object:
    text = _text(value)
    return text.lower() if isinstance(text, str) else text


def _near_day(value: date) -> date:
    if not 2000 <= value.year < 2100:
        reject("day_far_off")
    return value


def _three(value: object) -> object:
    if not isinstance(value, list) or len(value) != 3:
        reject("not_three")
    three = tuple(_number(item) for item in value)
    if not three[0] <= three[1] <= three[2]:  # type: ignore[operator]  # floats by _number
        reject("not_in_order", three=", ".join(f"{item:g}" for item in three))
    return three


def _day(value: object) -> object:
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    try:
        return day_of(str(value))
    except ValueError:
        reject("not_a_date")


_LONGEST_M = 20_000


def clock_s(value: object) -> object:
    """Seconds after midnight of ``"15:00"``, ``"15:00:30"`` or a TOML time."""
    if isinstance(value, time):
        return value.hour * 3600.0 + value.minute * 60.0 + value.second
    match = re.fullmatch(
        r"([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d))?", str(value).strip()
    )
    if match is None:
        reject("not_a_clock_time")
    return int(match[1]) * 3600.0 + int(match[2]) * 60.0 + float(match[3] or 0)


def _zone(value: object) -> object:
    text = _text(value)
    try:
        ZoneInfo(str(text))
    except (KeyError, ValueError, OSError):
        # Unknown names raise a KeyError, odd ones ValueError or OSError.
        reject("not_a_time_zone")
    return text


_MOST_CUTS = 10


def _distances(value: object) -> object:
    if not isinstance(value, list) or len(value) > _MOST_CUTS:
        reject("not_distances", most=_MOST_CUTS)
    for item in value:
        number = isinstance(item, (int, float)) and not isinstance(item, bool)
        if not number or not 0 < item <= _LONGEST_M:
            reject("not_distances", most=_MOST_CUTS)
    return [float(item) for item in value]


def _labels(value: object) -> object:
    if not isinstance(value, list):
        reject("not_a_list")
    names = []
    for item in value:
        if isinstance(item, bool) or not isinstance(item, (str, int)):
            reject("not_a_list")
        names.append(str(item).strip())
    repeated = sorted({name for name in names if names.count(name) > 1})
    if repeated:
        reject("repeated", names=", ".join(repeated))
    return tuple(names)


def _known_texts(texts: dict[str, str]) -> dict[str, str]:
    """Texts of the plan under keys that the plan looks up; others would be lost."""
    known = [item.key for item in plan_contents()]
    for key in texts:
        if key not in known:
            free = [name for name in known if name not in texts]
            reject("unknown_text", column=key, near=did_you_mean(key, free))
    return texts


Num = Annotated[float, BeforeValidator(_number)]
Count = Annotated[int, BeforeValidator(_whole)]
Flag = Annotated[bool, BeforeValidator(_flag)]
Str = Annotated[str, Field(max_length=5_000), BeforeValidator(_text)]
Name = Annotated[str, Field(min_length=1, max_length=200), BeforeValidator(_text)]
Sentence = Annotated[str, Field(min_length=1, max_length=2_000), BeforeValidator(_text)]
Three = Annotated[tuple[float, float, float], BeforeValidator(_three)]
Minutes = Annotated[Num, Field(ge=0, le=2_880)]
Share = Annotated[Num, Field(ge=0, le=1)]
Day = Annotated[date, BeforeValidator(_day)]
PlanDay = Annotated[date, AfterValidator(_near_day), BeforeValidator(_day)]


class _Section(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class LiftSection(_Section):
    """``[lift]``: what it is called and how it is drawn."""

    name: Name
    operator: Str = ""
    revision: Str = ""
    kind: Str = ""
    ascending_side: Annotated[Literal["right", "left"], BeforeValidator(_word)]
    upper_station: Annotated[Literal["first", "last"], BeforeValidator(_word)]
    drive_station: Annotated[Literal["first", "last"], BeforeValidator(_word)]
    gauge_m: Annotated[Num, Field(gt=0, le=30)]
    data_source: Str = ""


class RopeSection(_Section):
    """``[rope]``: the haul rope."""

    mass_kg_per_m: Annotated[Num, Field(gt=0, le=50)]
    axial_stiffness_mn: Annotated[Num, Field(gt=0, le=1_000)]
    diameter_mm: Annotated[Num | None, Field(gt=5, le=100)] = None
    breaking_force_kn: Annotated[Num | None, Field(gt=0, le=10_000)] = None


class TensionSection(_Section):
    """``[tension]``: the force on the carriage, both sides of the rope together."""

    state: Annotated[Literal["constant", "locked", "unknown"], BeforeValidator(_word)]
    held_at: Annotated[Literal["drive", "return"], BeforeValidator(_word)]
    force_kn: Annotated[Num | None, Field(gt=0, le=5_000)] = None
    low_kn: Annotated[Num | None, Field(gt=0, le=5_000)] = None
    high_kn: Annotated[Num | None, Field(gt=0, le=5_000)] = None

    @model_validator(mode="after")
    def _complete(self) -> TensionSection:
        low, force, high = self.low_kn, self.force_kn, self.high_kn
        if self.state == "unknown":
            for name, value in (("low_kn", low), ("high_kn", high)):
                if value is None:
                    reject("range_needed", column=name)
        elif force is None:
            reject("force_needed", column="force_kn")
        given = [value for value in (low, force, high) if value is not None]
        if given != sorted(given):
            shown = ", ".join(f"{value:g}" for value in given)
            reject("not_in_order", column="force_kn", three=shown)
        return self


class CarriersSection(_Section):
    """``[carriers]``: all alike."""

    type: Annotated[Literal["chair", "cabin"], BeforeValidator(_word)]
    grip: Annotated[Literal["fixed", "detachable"], BeforeValidator(_word)]
    seats: Annotated[Count, Field(ge=1, le=100)]
    empty_mass_kg: Annotated[Num, Field(gt=0, le=10_000)]
    passenger_mass_kg: Annotated[Num, Field(gt=0, le=200)]
    spacing_m: Annotated[Num, Field(gt=0, le=5_000)]
    spacing_at_tension_kn: Annotated[Num, Field(ge=0, le=2_000)] = 0.0
    capacity_per_hour: Annotated[Num | None, Field(gt=0, le=20_000)] = None
    rope_to_descender_m: Annotated[Num, Field(ge=0, le=15)]
    rope_to_seat_m: Annotated[Num, Field(gt=0, le=20)]
    on_loop: Annotated[Count | None, Field(ge=1, le=2_000)] = None
    numbers: Annotated[tuple[str, ...], BeforeValidator(_labels)] = ()
    loop_offset_m: Num | None = None

    @model_validator(mode="after")
    def _consistent(self) -> CarriersSection:
        if self.rope_to_descender_m >= self.rope_to_seat_m:
            reject(
                "descender_below_seat",
                column="rope_to_descender_m",
                seat=f"{self.rope_to_seat_m:g}",
            )
        counted = self.on_loop is not None and bool(self.numbers)
        if counted and len(self.numbers) != self.on_loop:
            reject(
                "numbers_differ",
                column="numbers",
                numbers=len(self.numbers),
                on_loop=self.on_loop,
            )
        return self


class CaseSection(_Section):
    """One ``[[loading.case]]``."""

    name: Name
    ascending: Share
    descending: Share
    from_share: Share = 0.0
    to_share: Share = 1.0
    batch_loaded: Annotated[Count, Field(ge=0, le=500)] = 0
    batch_empty: Annotated[Count, Field(ge=0, le=500)] = 0

    @model_validator(mode="after")
    def _runs_up(self) -> CaseSection:
        if self.from_share >= self.to_share:
            reject("from_not_below_to", column="from_share")
        return self


class LoadingSection(_Section):
    """``[loading]``: who sits where."""

    occupancy: Three
    descending_occupancy: Three
    case: Annotated[tuple[CaseSection, ...], Field(min_length=1, max_length=100)]

    @model_validator(mode="after")
    def _shares(self) -> LoadingSection:
        for name in ("occupancy", "descending_occupancy"):
            three = getattr(self, name)
            if three[0] < 0 or three[2] > 1:
                reject("not_shares", column=name)
        if self.occupancy[2] == self.descending_occupancy[2] == 0:
            reject("nobody_rides", column="occupancy")
        names = [case.name for case in self.case]
        repeated = sorted({name for name in names if names.count(name) > 1})
        if repeated:
            reject("repeated", column="case", names=", ".join(repeated))
        return self


class LimitSection(_Section):
    """One ``[[limit]]``."""

    minutes: Annotated[Num, Field(gt=0, le=2_880)]
    counts_from: Annotated[Literal["stop", "order"], BeforeValidator(_word)]
    counts_to: Annotated[Literal["on the ground", "in safety"], BeforeValidator(_word)]
    source: Sentence
    before_rescue_min: Annotated[Num | None, Field(gt=0, le=2_880)] = None

    @model_validator(mode="after")
    def _part_of_it(self) -> LimitSection:
        part_min = self.before_rescue_min
        if part_min is not None and part_min > self.minutes:
            reject(
                "part_above_limit",
                column="before_rescue_min",
                minutes=f"{self.minutes:g}",
            )
        return self


class DrivesSection(_Section):
    """``[drives]``."""

    line_speed_m_per_s: Annotated[Num, Field(gt=0, le=15)]
    emergency_speed_m_per_s: Three | None = None
    emergency_engage_min: Three | None = None
    unload_stop_s: Three | None = None

    @model_validator(mode="after")
    def _positive(self) -> DrivesSection:
        speed, engage = self.emergency_speed_m_per_s, self.emergency_engage_min
        if speed is not None and speed[0] <= 0:
            reject("not_above_zero", column="emergency_speed_m_per_s")
        if engage is not None and engage[0] < 0:
            reject("below_zero", column="emergency_engage_min")
        if self.unload_stop_s is not None and self.unload_stop_s[0] < 0:
            reject("below_zero", column="unload_stop_s")
        if (speed is None) != (engage is None):
            missing = "emergency_speed_m_per_s" if speed is None else ""
            reject("both_or_none", column=missing or "emergency_engage_min")
        return self


class ConditionsSection(_Section):
    """``[conditions]``: the day that is planned for."""

    date: PlanDay | None = None
    stop_time: Annotated[float, BeforeValidator(clock_s)]
    time_zone: Annotated[str, BeforeValidator(_zone)]
    air_temperature_c: Annotated[Num, Field(ge=-60, le=50)]
    wind_m_per_s: Annotated[Num, Field(ge=0, le=60)]
    gust_m_per_s: Annotated[Num, Field(ge=0, le=90)]
    night: Flag = False
    iced_rope: Flag = False
    snow_least_m: Annotated[Num, Field(ge=0, le=15)] = 0.0
    snow_most_m: Annotated[Num, Field(ge=0, le=15)]
    skyline_angle_deg: Annotated[Num, Field(ge=0, le=60)] = 0.0
    clothing: Annotated[Name, BeforeValidator(_word)] = "skiwear"

    @model_validator(mode="after")
    def _in_order(self) -> ConditionsSection:
        if self.snow_least_m > self.snow_most_m:
            reject("least_above_most", column="snow_least_m")
        if self.wind_m_per_s > self.gust_m_per_s:
            reject("least_above_most", column="wind_m_per_s")
        return self


class OrganisationSection(_Section):
    """``[organisation]``: the common steps and who is there beside the teams."""

    stop_to_order_min: Three
    order_to_secured_min: Three
    ground_to_safe_min: Three
    standdown_min: Three
    roles: Annotated[dict[Name, Annotated[Count, Field(ge=0, le=100)]], Field()] = {}
    people_present: Annotated[Count | None, Field(ge=0, le=2_000)] = None
    informers: Annotated[Count, Field(ge=0, le=100)]
    informer_speed_m_per_s: Annotated[Num, Field(gt=0, le=20)]
    first_word_min: Minutes
    repeat_word_min: Minutes
    pickoff_min: Minutes = 30.0
    latest_arrival_min: Minutes | None = None
    drill_rule: (
        Literal["Norway", "France", "Germany", "Sweden", "California"] | None
    ) = None

    @model_validator(mode="after")
    def _not_negative(self) -> OrganisationSection:
        names = ("stop_to_order", "order_to_secured", "ground_to_safe", "standdown")
        for name in names:
            if getattr(self, f"{name}_min")[0] < 0:
                reject("below_zero", column=f"{name}_min")
        return self


class TravelSection(_Section):
    """``[travel]``: the walking rule and speeds."""

    walking_rule: Annotated[
        Literal["naismith", "din33466", "tobler"], BeforeValidator(_word)
    ]
    foot_factor: Annotated[Num, Field(ge=0.5, le=20)]
    ski_down_m_per_s: Annotated[Num, Field(gt=0, le=30)]
    ski_flat_m_per_s: Annotated[Num, Field(gt=0, le=15)]
    vehicle_m_per_s: Annotated[Num, Field(gt=0, le=30)]
    off_way_factor: Annotated[Num, Field(ge=1, le=20)]


class FilesSection(_Section):
    """``[files]``: names inside the folder; those left out have default names."""

    supports: Name | None = None
    ground: Name | None = None
    terrain: Name | list[Name] | None = None
    terrain_sd_m: Annotated[Num | None, Field(gt=0, le=200)] = None
    terrain_crs: Name | None = None
    teams: Name | None = None
    kit: Name | None = None
    techniques: Name | None = None
    times: Name | None = None
    hazards: Name | None = None
    access: Name | None = None
    muster: Name | None = None
    drills: Name | None = None


class LearningSection(_Section):
    """``[learning]``: steps whose shorter times from drills are accepted (rule 25)."""

    accepted: Annotated[tuple[str, ...], BeforeValidator(_labels)] = ()


class AssumptionEntry(_Section):
    """One entry of ``[assumptions]``."""

    value: Str
    reason: Sentence
    accepted: Flag


class AssignmentSection(_Section):
    """``[assignment]``: what the sharing of the line may do."""

    cuts_m: Annotated[tuple[float, ...], BeforeValidator(_distances)] = ()


class LiftToml(_Section):
    """All of ``lift.toml``."""

    schema_: Annotated[Count, Field(alias="schema")]
    lift: LiftSection
    rope: RopeSection
    tension: TensionSection
    carriers: CarriersSection
    loading: LoadingSection
    limit: tuple[LimitSection, ...] = ()
    drives: DrivesSection
    conditions: ConditionsSection
    organisation: OrganisationSection
    travel: TravelSection
    assignment: AssignmentSection = AssignmentSection()
    files: FilesSection = FilesSection()
    plan_texts: Annotated[dict[str, Str], AfterValidator(_known_texts)] = {}
    learning: LearningSection = LearningSection()
    assumptions: dict[str, AssumptionEntry] = {}
