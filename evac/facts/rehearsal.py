"""Facts about a drill: what was drawn, what was timed, how the two compare."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from evac.facts.drill import DrillRecord
from evac.facts.lift import Side, StepTime
from evac.facts.work import PickOff


class DrillKind(StrEnum):
    """What a drill tries beyond the usual (rule 26)."""

    USUAL = "usual"
    NIGHT = "night"
    COLD = "cold"
    INCAPACITATED = "incapacitated"
    DRIVE_RESTORED = "drive restored"
    TEAM_MISSING = "team missing"


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherCard:
    """The weather the drill pretends to have."""

    air_temperature_c: float
    wind_m_per_s: float
    night: bool
    snow_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillCarrier:
    """One carrier that a team clears in the drill.

    ``dummy``: its seat and the margin of that height together lie above what live
    volunteers may hang at, or are not known, so a dummy is lowered.
    ``incapacitated``: one of those lowered plays unconscious.
    ``calls_pickoff``: the observer calls out an unconscious passenger whom the team's
    technique cannot take; another team is called and nobody is lowered for it.
    """

    number: int
    side: Side
    span_id: str
    distance_m: float
    seat_height_m: float
    margin_m: float
    people: int
    dummy: bool
    incapacitated: bool
    calls_pickoff: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedStep:
    """One line of the observer's sheet: a step to be timed, done once.

    ``passenger``: whose step it is, counted from 1 in each carrier; None for what a
    span or a carrier costs once.
    ``amount``: 1, or the metres that this one passenger is lowered; where the line is
    the way to the next carrier (``way_m`` above 0), how many times the row's own way
    that way is planned to take.
    ``planned_s``: the likely time of that amount.
    """

    team: str
    carrier: int | None
    passenger: int | None
    span_id: str
    row: StepTime
    amount: float
    planned_s: float
    way_m: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillTeam:
    """What one team does in the drill; ``missing``: it is told to stay away.

    ``enters_at``: the support at which it begins its drawn carriers.
    ``pickoff``: who takes an unconscious passenger in its zone, None: nobody can.
    """

    team: str
    technique: str
    kit: str
    enters_at: str
    missing: bool
    carriers: tuple[DrillCarrier, ...]
    steps: tuple[TimedStep, ...]
    pickoff: PickOff | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Drill:
    """A drill, drawn at random from a plan and a seed."""

    kind: DrillKind
    seed: int
    date: date
    stop_offset_m: float
    occupied_share: float
    weather: WeatherCard
    most_live_height_m: float
    restored_after: int | None
    """Carriers after which the drive is called restored, for that kind of drill."""
    teams: tuple[DrillTeam, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Observed:
    """One timed line of an observer's sheet, with where on the line it was."""

    record: DrillRecord
    span_id: str
    carrier: str
    took_part: str = ""
    """Roles or numbers, as the observer wrote them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unread:
    """A line of an observer's sheet that gives no time, with the reason (words)."""

    where: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Planned against actual of one step, team or span.

    ``planned_s`` and ``actual_s`` are sums over the same finished lines;
    ``stopped`` lines are counted apart, since their time only says "longer than".
    """

    name: str
    count: int
    stopped: int
    planned_s: float
    actual_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Evaluation:
    """A drill, compared with the plan, by step, team and span."""

    by_step: tuple[Comparison, ...]
    by_team: tuple[Comparison, ...]
    by_span: tuple[Comparison, ...]
    unplanned: tuple[Observed, ...]
    """Lines whose step the table of step times does not know."""
