"""Facts about changed circumstances: where an evacuation stands, what would help."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from evac.facts.heights import Heights
from evac.facts.lift import Lift, Side
from evac.facts.work import Assignment, Schedule, Work


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
    last finish either way, at likely times; ``kept_uncovered`` people would have no
    team if the zones stayed, so compare the two only where it is 0.
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
class Priority:
    """What it costs to take the carriers of one unit first (rule 17).

    ``clear_s`` is when the unit is clear by the plan, ``first_clear_s`` when it is
    taken first; ``last_s`` and ``first_last_s`` are the last finish of the line.
    ``more_uncovered`` people lose their team by it.
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
