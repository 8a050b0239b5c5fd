"""Facts about changed circumstances: where an evacuation stands, what would help."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from evac.facts.finding import Finding
from evac.facts.heights import Heights
from evac.facts.lift import FloatArray, Lift, Side
from evac.facts.work import Assignment, Option, Schedule, Work


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """Where an evacuation stands at one moment.

    Seconds count from the order. ``cleared`` says how many carriers each team has
    logged as cleared, in the order of its sheet; teams that are not named have
    cleared none. ``in_hand_s`` is what is left of the carrier a team works at.
    """

    now_s: float
    stop_index: int = 0
    """Row of the stop grid at which the line really stands."""
    cleared: Mapping[str, int] = field(default_factory=dict)
    in_hand_s: Mapping[str, float] = field(default_factory=dict)
    missing_teams: tuple[str, ...] = ()
    doubtful_supports: tuple[str, ...] = ()
    gates_open_s: Mapping[str, float] = field(default_factory=dict)
    """Hazard id -> when its gate opens now; NEVER_S: stays shut."""
    dark: bool = False
    """From now on it is night."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Replanned:
    """The rest of an evacuation, shared out anew.

    ``lift`` and ``heights`` are those of the situation: only carriers that still
    hang are in the stop grid. ``kept``: the zones stayed with their teams, because
    moving would gain no more than the threshold. ``kept_s`` and ``moved_s`` are the
    last finish either way, by the step times that the plan was shared out by (likely
    or average); ``kept_uncovered`` people would have no team if the zones stayed, so
    compare the two only where it is 0. ``people_left`` hang in the carriers that are
    left, as the plan counts them. ``findings``: descenders that would not last.
    """

    lift: Lift
    heights: Heights
    work: Work
    assignment: Assignment
    schedule: Schedule
    kept: bool
    kept_s: int
    moved_s: int
    kept_uncovered: int
    people_left: int
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Lever:
    """One change to the plan and what it does to the clearing time.

    ``gain_s`` is the mean of the paired differences over the same imagined days
    (above 0: sooner), with its 95 % interval; ``p90_gain_s`` the shift of the P90.
    """

    key: str
    """A words key below ``lever.``."""
    values: Mapping[str, str | float | int]
    gain_s: float
    gain_interval_s: tuple[float, float]
    p50_s: float
    p90_s: float
    p90_gain_s: float
    uncovered_people: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Levers:
    """What would gain most, over the same imagined days.

    ``ranked``: fewest people uncovered first, then the greatest mean gain. ``untried``
    counts the changes for which the effort allowed did not suffice.
    """

    runs: int
    ranked: tuple[Lever, ...] = ()
    untried: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Branch:
    """The plan without one team, prepared beforehand.

    Teams are told ``notice_s`` after the order, when the absence is noticed. Those in
    ``going_on`` do their own zone as planned and then more beyond its far end; those
    in ``anew`` begin another zone only once they are told; all others keep theirs.
    ``clear_s`` (runs,): order -> last on the ground on the plan's own imagined days;
    empty, and the quantiles NaN, where no other team can take anything.
    ``p90_later_s`` is the shift of the P90 on the same days. How many people lose
    their team stands in ``assignment.objectives``.
    """

    team: str
    notice_s: float
    assignment: Assignment
    going_on: tuple[str, ...]
    anew: tuple[str, ...]
    clear_s: FloatArray
    p50_s: float
    p90_s: float
    p90_later_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Branches:
    """What if one team does not come; ``untried`` teams were not worked out."""

    runs: int
    prepared: tuple[Branch, ...] = ()
    untried: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftedBy:
    """Who can clear a unit by a technique for people who cannot help themselves.

    ``clear_s``: from the order at likely times, the team going there first.
    """

    option: Option
    clear_s: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Priority:
    """What it costs to take the carriers of one unit first (rule 17).

    ``clear_s`` is when the unit is clear by the plan, ``first_clear_s`` when it is
    taken first; ``last_s`` and ``first_last_s`` are the last finish of the line, the
    soonest without the priority and with it.
    ``more_uncovered`` people lose their team by it. ``lifted_by``: the soonest of all
    that can lift a passenger who cannot help, its cost to the line not counted; None
    where nobody can.
    """

    side: Side
    span_index: int
    team: str
    clear_s: int
    first_clear_s: int
    last_s: int
    first_last_s: int
    more_uncovered: int
    assignment: Assignment
    lifted_by: LiftedBy | None = None
