"""One row of each table of a lift folder, as the user writes it.

The field names are the columns; the units are the user's (minutes, megajoules), and
`evac.inputs.folder` turns rows into facts. Bounds here are what no lift on earth
exceeds; what is merely unusual is a finding of `evac.inputs.plausibility`.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from evac.facts.lift import CarrierType, SupportKind
from evac.inputs.cells import (
    BLANK,
    Day,
    Identity,
    Metres,
    Money,
    Names,
    Number,
    StepWords,
    Text,
    Whole,
    YesNo,
    YesOrBlank,
)
from evac.inputs.problems import reject
from evac.inputs.sections import clock_s

TECHNIQUE_KINDS = (
    "loop over the haul rope belayed from the ground",
    "rescuer on the haul rope with a descender",
    "climb from the support",
    "from within a cabin",
    "on-board descent kit",
    "ladder",
    "outside help",
)
"""Kinds of technique, which are also the names of their rows in the step times."""
LADDER = "ladder"
_LEAST_FACTORS = {
    **dict.fromkeys(set(TECHNIQUE_KINDS) - {LADDER, "outside help"}, 1),
    TECHNIQUE_KINDS[0]: 2,
}
"""How many times the height a technique's rope is at least: whatever hangs on a rope
hangs on one that is as long as it is high, and a loop goes up and down again (13)."""

TRAVEL_MODES = ("foot", "ski", "snow vehicle")
"""How a team may travel."""

PER = ("span", "carrier", "passenger", "metre", "support", "change")
"""What a step time counts by."""

ClockTime = Annotated[float, BeforeValidator(clock_s)]
"""Seconds after midnight of a clock time such as 07:30."""

_Latitude = Annotated[Annotated[Number, Field(ge=-90, le=90)] | None, BLANK]
_Longitude = Annotated[Annotated[Number, Field(ge=-180, le=180)] | None, BLANK]
_Share = Annotated[Number, Field(ge=0, le=1)]
_Factor = Annotated[Number, Field(ge=0, le=10)]


def _lower(value: object) -> object:
    return value.strip().lower() if isinstance(value, str) else value


def _lower_or_none(value: object) -> object:
    return (_lower(value) or None) if isinstance(value, str) else value


class _Row(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class SupportRow(_Row):
    """One row of ``supports.csv``."""

    support: Identity
    distance_m: Annotated[Annotated[Metres, Field(ge=0, le=20_000)] | None, BLANK] = (
        None
    )
    ground_m: Annotated[Annotated[Metres, Field(ge=-500, le=6_500)] | None, BLANK] = (
        None
    )
    rope_height_m: Annotated[Metres, Field(le=250)]
    kind: Annotated[SupportKind | None, BeforeValidator(_lower_or_none)] = None
    lat: _Latitude = None
    lon: _Longitude = None
    doubtful: YesOrBlank = False


class GroundRow(_Row):
    """One row of ``ground.csv``."""

    distance_m: Annotated[Metres, Field(ge=-1_000, le=21_000)]
    ascending_m: Annotated[Metres, Field(ge=-500, le=6_500)]
    descending_m: Annotated[Metres, Field(ge=-500, le=6_500)]


class TeamRow(_Row):
    """One row of ``teams.csv``."""

    team: Identity
    crew: Annotated[Whole, Field(ge=1, le=50)]
    techniques: Annotated[Names, Field(min_length=1)]
    start_place: Text
    start_lat: Annotated[Number, Field(ge=-90, le=90)]
    start_lon: Annotated[Number, Field(ge=-180, le=180)]
    ready_min: Annotated[Number, Field(ge=0, le=1_440)]
    travel: Annotated[Literal["foot", "ski", "snow vehicle"], BeforeValidator(_lower)]
    starts_at: Annotated[
        Literal["upper", "lower"] | None, BeforeValidator(_lower_or_none)
    ] = None
    vehicle: Annotated[Text | None, BLANK] = None
    drop_order: Annotated[Annotated[Whole, Field(ge=1)] | None, BLANK] = None
    last_drill: Annotated[Day | None, BLANK] = None
    cost: Annotated[Annotated[Money, Field(ge=0)] | None, BLANK] = None
    channel: Annotated[Text | None, BLANK] = None
    duty_from: Annotated[ClockTime | None, BLANK] = None
    duty_to: Annotated[ClockTime | None, BLANK] = None

    @model_validator(mode="after")
    def _whole_duty(self) -> TeamRow:
        if (self.duty_from is None) != (self.duty_to is None):
            reject("half_a_duty", column="duty_to")
        if self.duty_from is not None and self.duty_from == self.duty_to:
            reject("no_duty", column="duty_to")
        return self


class KitRow(_Row):
    """One row of ``kit.csv``."""

    kit: Identity
    team: Annotated[Identity | None, BLANK] = None
    technique: Identity
    rope_length_m: Annotated[Metres, Field(gt=0, le=1_000)]
    throw_height_m: Annotated[Metres, Field(ge=0, le=200)] = 0.0
    launcher: YesOrBlank = False
    descent_energy_mj: Annotated[
        Annotated[Number, Field(gt=0, le=100)] | None, BLANK
    ] = None
    descent_used_mj: Annotated[Annotated[Number, Field(ge=0, le=100)] | None, BLANK] = (
        None
    )
    rated_least_kg: Annotated[Annotated[Number, Field(ge=0, le=500)] | None, BLANK] = (
        None
    )
    rated_most_kg: Annotated[Annotated[Number, Field(gt=0, le=1_000)] | None, BLANK] = (
        None
    )
    inspection_due: Annotated[Day | None, BLANK] = None
    retire_on: Annotated[Day | None, BLANK] = None
    stored_at: Text = ""
    pause_after: Annotated[Annotated[Whole, Field(ge=1, le=1_000)] | None, BLANK] = None
    pause_min: Annotated[Annotated[Number, Field(gt=0, le=240)] | None, BLANK] = None

    @model_validator(mode="after")
    def _whole_pause(self) -> KitRow:
        if (self.pause_after is None) != (self.pause_min is None):
            reject("half_a_pause", column="pause_min")
        return self

    @model_validator(mode="after")
    def _loads_in_order(self) -> KitRow:
        least, most = self.rated_least_kg, self.rated_most_kg
        if least is not None and most is not None and least > most:
            reject("least_above_most", column="rated_least_kg")
        return self


class TechniqueRow(_Row):
    """One row of ``techniques.csv``."""

    technique: Identity
    kind: Text
    min_crew: Annotated[Whole, Field(ge=1, le=20)]
    roles: Text = ""
    carrier_types: Annotated[tuple[CarrierType, ...], Field(min_length=1)]
    per_rope_height: _Factor = 0.0
    per_attachment_height: _Factor = 0.0
    per_seat_height: _Factor = 0.0
    stance_m: Annotated[Metres, Field(ge=0, le=100)]
    knots_tails_m: Annotated[Metres, Field(ge=0, le=50)]
    belayer_tail_m: Annotated[Metres, Field(ge=0, le=50)]
    stretch_share: _Share
    reserve_m: Annotated[Metres, Field(ge=0, le=100)]
    reserve_share: _Share
    needs_line_over_rope: YesNo
    most_seat_height_m: Annotated[
        Annotated[Metres, Field(gt=0, le=100)] | None, BLANK
    ] = None
    most_rope_slope_deg: Annotated[Number, Field(ge=0, le=90)]
    passes_rollers: YesNo
    passes_hold_downs: YesNo
    incapacitated: YesNo
    downhill_only: YesNo
    wind_limit_m_per_s: Annotated[Number, Field(gt=0, le=50)]
    approval: Text
    belayer_radius_m: Annotated[Metres, Field(ge=0, le=50)] = 10.0

    @model_validator(mode="after")
    def _rope_to_the_ground(self) -> TechniqueRow:
        factors = self.per_rope_height, self.per_attachment_height, self.per_seat_height
        least = _LEAST_FACTORS.get(self.kind, 0)
        if sum(factors) < least:
            reject("too_little_rope", column="per_rope_height", least=least)
        return self

    @model_validator(mode="after")
    def _ladder_has_an_end(self) -> TechniqueRow:
        if self.kind == LADDER and self.most_seat_height_m is None:
            reject("endless_ladder", column="most_seat_height_m")
        return self

    @model_validator(mode="before")
    @classmethod
    def _split_lists(cls, value: object) -> object:
        if isinstance(value, dict) and isinstance(value.get("carrier_types"), str):
            parts = value["carrier_types"].lower().split("|")
            return {
                **value,
                "carrier_types": tuple(p.strip() for p in parts if p.strip()),
            }
        return value


class StepTimeRow(_Row):
    """One row of ``times.csv``."""

    technique: Text
    step: Annotated[StepWords, Field(min_length=1)]
    per: Annotated[
        Literal["span", "carrier", "passenger", "metre", "support", "change"],
        BeforeValidator(_lower),
    ]
    low_s: Annotated[Number, Field(ge=0, le=86_400)]
    likely_s: Annotated[Number, Field(ge=0, le=86_400)]
    high_s: Annotated[Number, Field(ge=0, le=86_400)]
    condition: StepWords = ""

    @model_validator(mode="after")
    def _in_order(self) -> StepTimeRow:
        if not self.low_s <= self.likely_s <= self.high_s:
            shown = f"{self.low_s:g}, {self.likely_s:g}, {self.high_s:g}"
            reject("not_in_order", column="likely_s", three=shown)
        return self


class PlaceRow(_Row):
    """One row of a table of supports that a map lacks."""

    lat: Annotated[Number, Field(ge=-90, le=90)]
    lon: Annotated[Number, Field(ge=-180, le=180)]


class DrillRow(_Row):
    """One row of ``drills.csv``."""

    date: Day
    team: Identity
    technique: Text
    step: Annotated[StepWords, Field(min_length=1)]
    per: Annotated[
        Literal["span", "carrier", "passenger", "metre", "support", "change"],
        BeforeValidator(_lower),
    ]
    condition: StepWords = ""
    seconds: Annotated[Number, Field(gt=0, le=86_400)]
    amount: Annotated[Number, Field(gt=0, le=10_000)] = 1.0
    stopped: YesOrBlank = False
    real: YesOrBlank = False
    worked_s: Annotated[Number, Field(ge=0, le=172_800)] = 0.0
    note: Text = ""
