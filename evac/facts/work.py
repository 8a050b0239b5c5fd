"""Facts about gear, gates, access, work and the assignment."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

from evac.facts.heights import BoolArray, IntArray
from evac.facts.lift import FloatArray, Side, Triple

NEVER_S = 10**9
"""Seconds that stand for "never" in whole-second tables."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """One way a team can work: its team, kit and technique."""

    index: int
    team: str
    team_index: int
    kit: str
    technique: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """Whether one option reaches one unit, and what decides.

    ``limit`` is a words key below ``reach.``: ``ok``, ``rope``, ``throw``, ``seat``,
    ``slope``, ``ground``, ``rollers``, ``lifted``, ``wind``, ``load``,
    ``energy``, ``gate``, ``unknown``.
    """

    option_index: int
    side: Side
    span_index: int
    rope_needed_m: float
    rope_have_m: float
    height_m: float
    margin_m: float
    ok: bool
    limit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitGate:
    """When work may begin in one unit, and what its hazards add."""

    side: Side
    span_index: int
    hazard_ids: tuple[str, ...]
    opens_s: float
    """Likely time from the order; 0 where nothing needs opening; NEVER_S: shut."""
    opens_low_s: float
    opens_high_s: float
    extra_s_per_passenger: float
    extra_people: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Below:
    """A stretch of one side's span under which a hazard lies."""

    hazard_id: str
    kind: str
    side: Side
    span_index: int
    from_m: float
    to_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Low, likely and high seconds of many things at once; arrays of one shape."""

    low_s: FloatArray
    likely_s: FloatArray
    high_s: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Route:
    """The quickest way of one team to one support."""

    team: str
    support_index: int
    seconds: float
    """From leaving the start place; NEVER_S if there is no way."""
    length_m: float
    climb_m: float
    x_m: tuple[float, ...]
    y_m: tuple[float, ...]
    way_ids: tuple[str, ...]
    not_before_s: Triple | None = None
    """Of evacuees' ways: from the order until anybody can be at its end, because
    avalanche ground on it must be released first; None: nothing to wait for."""
    wait_s: float = 0.0
    """Of ``seconds``: waiting for avalanche ground on the way to be released."""
    releases: tuple[tuple[str, float], ...] = ()
    """Avalanche ground that is crossed: hazard id, and seconds of walking and driving
    before its edge, in order of the way."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Passage:
    """A way on foot or ski from one support to another, past spans nobody works in."""

    seconds: float
    """``NEVER_S`` if there is no way."""
    opens_s: float
    """From the order until all avalanche ground on it is released; 0: none on it."""
    hazard_ids: tuple[str, ...]
    """That avalanche ground."""
    crosses: tuple[str, ...] = ()
    """Ids of the water and ledges that it leads over where no way is drawn."""


class Passages(Protocol):
    """Who knows the ways from support to support."""

    def __call__(
        self, team: str, from_support: int, to_support: int, *, there_s: float
    ) -> Passage:
        """The quicker way for a team that may be there so long after the order.

        Round avalanche ground, or across once it is released.
        """
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class WayIn:
    """What an arrival is made of, where it waits for avalanche ground."""

    wait_s: float
    releases: tuple[tuple[str, float], ...]
    """As in `Route`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MusterCare:
    """What one muster point has to take in (rule 22).

    ``people`` of the spans that walk there, at most. ``overflow`` of them find no
    shelter and are driven on in ``rounds`` rounds, which take ``rounds_s``; both are
    0 where nothing is to be driven, and ``rounds`` is None where nothing can be.
    """

    point_id: str
    span_indices: tuple[int, ...]
    people: int
    shelter_places: int
    seats: int
    receivers: int
    overflow: int
    rounds: int | None
    rounds_s: float
    longest_walk_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """Everything the assignment needs, in whole seconds. n columns, q options.

    ``side`` axis: 0 ascending, 1 descending; support axis: n + 1 supports; stop axis:
    the stop grid. ``valid`` False where the option may not take the unit.
    ``arrive_s`` (t, n+1): from the order to arrival, NEVER_S if none.
    ``cross_s`` (q, n+1): passing from one span to the next past a support; of it
    ``spared_s`` (q, n+1) is part of the next span's set-up, where the team goes on
    along the same side in the next span and a carrier is there to set up for.
    ``side_change_s`` (q,): from one side of the line to the other. ``walk_back_s``
    (q, n): back along the span from its far to its near end, against the direction of
    work, where a carrier hangs on both sides of it.
    ``people`` (2, n): most people in the unit. ``planned`` (2, n): False where the
    unit cannot be planned at all (heights not known); whether somebody reaches it is
    told by ``valid``.
    """

    team_ids: tuple[str, ...]
    crew: IntArray
    start_upper: BoolArray
    upper_is_last: bool
    options: tuple[Option, ...]
    option_team: IntArray
    valid: BoolArray
    work_s: IntArray
    """(q, 2, n, o) likely seconds in the unit: set-up and every carrier."""
    cross_s: IntArray
    side_change_s: IntArray
    walk_back_s: IntArray
    gate_s: IntArray
    secured_s: int
    arrive_s: IntArray
    people: IntArray
    people_at: IntArray
    """Planned people of every unit at every stop position (2, n, o)."""
    planned: BoolArray
    latest_arrival_s: int
    no_start: BoolArray | None = None
    """(q, n+1): True where nothing stands that an option could climb, so that it can
    neither begin a zone nor a side there, only go on over it. None: nowhere."""
    spared_s: IntArray | None = None
    """None: nothing is spared."""
    pass_s: IntArray | None = None
    """(t, n+1, n+1): on foot from one support to another, past spans in which the team
    takes nothing; NEVER_S where there is no way, and between other supports than
    those at which such spans begin and end. None: nobody walks past a span."""
    pass_open_s: IntArray | None = None
    """(t, n+1, n+1): when avalanche ground on that way is released."""
    pass_hazards: Mapping[tuple[int, int, int], tuple[str, ...]] = field(
        default_factory=dict
    )
    """(team, from, to) -> that avalanche ground; only ways with any."""
    pass_crosses: Mapping[tuple[int, int, int], tuple[str, ...]] = field(
        default_factory=dict
    )
    """(team, from, to) -> water and ledges where no way is drawn; only where any."""
    ways_in: Mapping[tuple[int, int], WayIn] = field(default_factory=dict)
    """(team, support) -> the way in; only ways over avalanche ground."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """A run of spans on one side or both that one team clears."""

    team: str
    option: Option
    first_span: int
    last_span: int
    sides: tuple[Side, ...]
    start_support: int
    arrival_s: int
    start_s: int
    """First work: arrived, line secured, gates open."""
    finish_s: int
    """The cost: last passenger of the zone on the ground, from the order."""
    work_s: int
    people: int
    """Planned people in all its units together, at the stop position with most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Uncovered:
    """A unit that no zone takes, with the reason and the least remedy (words keys)."""

    side: Side
    span_index: int
    people: int
    reason: str
    remedy: str
    values: Mapping[str, str | float | int]


@dataclass(frozen=True, slots=True, kw_only=True)
class PickOff:
    """Who picks off a passenger that cannot help, in one team's zone (rule 19).

    ``team`` is None and ``seconds`` ``NEVER_S`` where nobody can; ``in_time`` says
    whether the set time is kept. Seconds count from the first work in the zone on;
    the zone's own team needs no way: 0 seconds.
    """

    zone_team: str
    team: str | None
    kit: str | None
    technique: str | None
    seconds: float
    in_time: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SpecialPassenger:
    """A kind of passenger with time and kit of its own (rule 19).

    ``key`` is a words key below ``special.kind.`` and ``special.what.``. ``extra_s``
    per option's technique: technique id -> seconds beside the usual passenger, likely.
    ``options`` holds the indices of the options that can serve such a passenger at all.
    """

    key: str
    extra_s: Mapping[str, float]
    options: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Assignment:
    """Which team clears what, with its certificate.

    ``objectives``: people uncovered, last finish [s], total passenger waiting [s],
    person-seconds of work, sum of squared finishes. ``proven``: the value is optimal
    for every objective; ``bound_s`` is the proven lower bound of the last finish.
    """

    zones: tuple[Zone, ...]
    uncovered: tuple[Uncovered, ...]
    objectives: tuple[int, ...]
    bound_s: int
    proven: bool
    method: str
    binding_teams: tuple[str, ...]
    reserve_teams: tuple[str, ...]
    chosen_by: str = "likely"
    """The step times that the zones were shared out by: ``"likely"``, or ``"mean"``
    where that sharing is clear sooner in 9 of 10 imagined days. Times are told at
    likely ones either way, and ``bound_s`` is that of likely ones."""
    states: int = 0
    """States of the exact programme for it: how much work the solution was, the same
    on every machine."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rescue:
    """One carrier in a team's schedule at one stop position."""

    team: str
    order: int
    side: Side
    span_index: int
    distance_m: float
    people: int
    rope_height_m: float
    seat_height_m: float
    rope_needed_m: float
    start_s: float
    finish_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """When each carrier and the line is clear, from the order, at likely times."""

    stop_offset_m: float
    rescues: tuple[Rescue, ...]
    clear_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Remedy:
    """A change that was tried by solving again, with what it brings."""

    key: str
    """A words key below ``remedy.``."""
    values: Mapping[str, str | float | int]
    uncovered_people: int
    clear_s: int
    cost: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Simulation:
    """Clearing times over many imagined days; arrays of shape (runs,), seconds.

    ``order_to_clear_s``: order -> last on the ground. ``order_to_safe_s``: order ->
    all at a safe place. ``p90_interval_s`` and ``p50_interval_s``: 95 % sampling
    intervals. ``p90_independent_s``: without common factors, to show what they do.
    ``last_team_share``: team -> share of runs in which it finished last.
    ``everyone_reached``: no span-side with carriers is left without a zone. Where it
    is False every time is that of those who are reached, and no limit is met.
    """

    runs: int
    seed: int
    order_to_first_s: FloatArray
    order_to_clear_s: FloatArray
    order_to_safe_s: FloatArray
    stop_to_order_s: FloatArray
    p50_s: float
    p90_s: float
    p50_interval_s: tuple[float, float]
    p90_interval_s: tuple[float, float]
    p50_independent_s: float
    p90_independent_s: float
    safe_p90_s: float
    chance_of_limit: float | None
    last_team_share: Mapping[str, float]
    everyone_reached: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LatestOrder:
    """By when evacuation must be ordered, for one reason."""

    reason: str
    """A words key below ``clock.``: ``limit``, ``dusk``, ``cold``; or
    ``limit_from_order``, a limit that is missed whenever the order comes."""
    after_stop_s: float
    """Seconds after the stop; negative: already too late at the stop."""
    clock_s: float
    """The same as a clock time, seconds after local midnight of the day."""
    met: bool
    """True where the planned order comes no later than this; never for a time limit
    while people are not reached."""
    source: str
    """Of a limit, as the folder names it; empty for dusk and cold."""

    @property
    def lost(self) -> bool:
        """Whether no order comes early enough; see `lost_to_the_day`."""
        return lost_to_the_day(self.reason, after_stop_s=self.after_stop_s)


def lost_to_the_day(reason: str, *, after_stop_s: float) -> bool:
    """Whether dusk or cold comes before the last is down even if ordered at the stop.

    Nobody can order before the stop, so that is no latest order. A missed limit is not
    lost to the day: by how much it is missed alarms, and stands.
    """
    return reason in ("dusk", "cold") and after_stop_s < 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """The decision times of the plan."""

    stop_clock_s: float
    order_clock_s: float
    latest: tuple[LatestOrder, ...]
    binding: LatestOrder | None
    sunset_clock_s: float | None
    dusk_clock_s: float | None
    wind_chill_c: float | None
    cold_class: str
    exposure_limit_s: float | None
    emptying_s: tuple[float, float, float] | None
    """Low, likely, high time to empty the line by the emergency drive."""
    standdown_s: float
    informer_round_s: float | None
    first_word_met: bool | None
    running_pays_until_s: float | None = None
    """After the order, at likely times: until then stand-down and emptying at their
    high values end before the rope evacuation would (rule 3). None: no drive."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Informed:
    """How passengers in one span are told what happens (rule 6).

    ``informer`` counts from the lower end, 1 first; ``word_s`` is how long after
    setting out at the upper end of the own stretch that informer has passed the whole
    span; both None where nobody goes. ``away_m``: greatest distance from a seat of a
    side to the nearest ground below that may be walked; inf where there is none.
    """

    span_index: int
    informer: int | None
    word_s: float | None
    away_m: Mapping[Side, float]
    silent: tuple[Side, ...]
    """Sides with places that no voice reaches."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LadderStep:
    """One step of the decision ladder (rule 4); a words key below ``ladder.``.

    ``role`` is a words key below ``ladder.role``, ``people`` how many of them the
    folder names (None: it does not name the role). Seconds count from the stop.
    """

    key: str
    role: str
    people: int | None
    from_s: float
    to_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Trigger:
    """What brings the decision forward (rule 4); a words key below ``ladder.``.

    ``clock_s``: from when on the planned day, None where it cannot be foreseen;
    ``now`` True where it already holds at the stop.
    """

    key: str
    values: Mapping[str, str | float | int]
    clock_s: float | None
    now: bool | None
