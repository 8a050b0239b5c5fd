"""The facts of one lift, as its folder states them.

Conventions of every fact: SI units, named in the attribute; ``distance_m`` is
horizontal along the line from the first station as drawn; ``x_m, y_m`` lie in the
lift's own map frame (:class:`evac.frame.Frame`, metres east and north of the first
station); elevations are metres above the terrain's own datum.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from evac.facts.drill import DrillRecord
from evac.facts.finding import Finding

FloatArray = NDArray[np.float64]


class Side(StrEnum):
    """A side of the line, named by where its carriers travel in service."""

    ASCENDING = "ascending"
    DESCENDING = "descending"


class SupportKind(StrEnum):
    """How a support carries the rope."""

    SUPPORT = "support"
    """The rope rests on the rollers."""
    HOLD_DOWN = "hold-down"
    """The rope is pressed down by the rollers."""
    COMBINED = "combined"
    """Rollers above and below: either sign of load is carried."""
    STATION = "station"
    """The edge of a station, where the rope leaves it."""


class TensionState(StrEnum):
    """What the tension system does while the lift stands."""

    CONSTANT = "constant"
    LOCKED = "locked"
    UNKNOWN = "unknown"


class Grip(StrEnum):
    """How carriers hold the haul rope."""

    FIXED = "fixed"
    DETACHABLE = "detachable"


class CarrierType(StrEnum):
    """What passengers sit in."""

    CHAIR = "chair"
    CABIN = "cabin"


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumption:
    """A value nobody measured, printed on every document until it is replaced."""

    key: str
    value: str
    reason: str
    accepted: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Support:
    """A tower, or the edge of a station where the rope leaves it.

    ``kind`` is None where the folder leaves it blank: it is then inferred from the
    empty rope. ``doubtful``: rope off its rollers or support not trusted (rule 9).
    """

    id: str
    distance_m: float
    ground_m: float
    rope_height_m: float
    kind: SupportKind | None
    x_m: float
    y_m: float
    doubtful: bool = False
    surveyed: bool = True
    """False where the base elevation was taken from the terrain."""
    mark: bool = False
    """Nothing stands here: a named place in a span at which it is cut in two."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rope:
    """The haul rope."""

    mass_kg_per_m: float
    axial_stiffness_n: float
    diameter_m: float | None
    breaking_force_n: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tension:
    """The tension system. ``force_n`` acts on the carriage: both sides together.

    ``low_force_n`` and ``high_force_n`` bound the force where the state is unknown,
    and give its uncertainty otherwise.
    """

    state: TensionState
    held_at_drive: bool
    force_n: float
    low_force_n: float
    high_force_n: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Carriers:
    """The carriers of a lift, all alike.

    ``spacing_m`` is unstretched rope length between neighbouring grips.
    ``rope_to_descender_m`` and ``rope_to_seat_m`` hang vertically below the rope.
    ``numbers`` holds the carriers on the loop in order of travel, () if unknown.
    """

    type: CarrierType
    grip: Grip
    seats: int
    empty_mass_kg: float
    passenger_mass_kg: float
    spacing_m: float
    rope_to_descender_m: float
    rope_to_seat_m: float
    on_loop: int | None
    numbers: tuple[str, ...] = ()
    loop_offset_m: float | None = None
    """Fixed grip: unstretched length, around the return bullwheel, that ties the
    descending side's stop position to the ascending side's; None if unknown."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadCase:
    """Who sits where, as a share of the seats of each side.

    The shares apply to carriers whose distance from the lower station, as a share
    of the line, lies in ``from_share .. to_share``; the others are empty. With
    ``batch_loaded`` > 0 only that many carriers in a row are loaded, followed by
    ``batch_empty`` empty ones, again and again from the lower station up.
    """

    name: str
    ascending_share: float
    descending_share: float
    from_share: float = 0.0
    to_share: float = 1.0
    batch_loaded: int = 0
    batch_empty: int = 0


IN_SAFETY = "in safety"
"""What a limit counts to where all must be at a safe place."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A time limit, with its source; it states what it counts from and to."""

    minutes: float
    counts_from: str
    """``"stop"`` or ``"order"``."""
    counts_to: str
    """``"on the ground"`` or ``"in safety"``."""
    source: str
    before_rescue_min: float | None = None
    """The part of it within which the first lowering must begin, counted from where
    the limit counts; None: the limit names none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Triple:
    """Low, likely and high: read as P10, mode and P90."""

    low: float
    likely: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Drives:
    """Drives of the lift, for the comparison with emptying by emergency drive."""

    line_speed_m_per_s: float
    emergency_speed_m_per_s: Triple | None
    emergency_engage_s: Triple | None
    unload_stop_s: Triple | None = None
    """At each carrier, for people to get off; None: `evac.emptying.UNLOAD_STOP_S`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """The day that is planned for."""

    date: date
    stop_clock_s: float
    """Clock time of the stop, seconds after local midnight."""
    time_zone: str
    """IANA name, such as ``Europe/Vienna``."""
    air_temperature_c: float
    wind_m_per_s: float
    gust_m_per_s: float
    night: bool
    iced_rope: bool
    snow_least_m: float
    snow_most_m: float
    skyline_angle_deg: float
    clothing: str = "skiwear"


@dataclass(frozen=True, slots=True, kw_only=True)
class Organisation:
    """Who is there beside the teams, and how long the common steps take.

    All times [s]. ``stop_to_order_s``: finding the fault and deciding.
    ``order_to_secured_s``: drive locked and tagged, brake set, line secured.
    ``ground_to_safe_s``: last passenger on the ground -> all at a safe place, where
    no access layer tells; the walk to muster otherwise.
    """

    stop_to_order_s: Triple
    order_to_secured_s: Triple
    ground_to_safe_s: Triple
    standdown_s: Triple
    roles: Mapping[str, int]
    """Role -> number of people needed beside the teams."""
    people_present: int | None
    informer_count: int
    informer_speed_m_per_s: float
    first_word_s: float
    repeat_word_s: float
    pickoff_s: float = 1800.0
    latest_arrival_s: float | None = None
    drill_rule: str | None = None
    """``where`` of a row of `evac.reference.drill_rules`; None: not chosen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Team:
    """One team: who comes, trained for what, from where, how soon."""

    id: str
    crew: int
    techniques: tuple[str, ...]
    start_place: str
    start_x_m: float
    start_y_m: float
    ready_s: float
    """From the order until the team leaves its start place with its gear."""
    travel: str
    """``"foot"``, ``"ski"`` or ``"snow vehicle"``."""
    start_upper: bool
    """True: a zone is begun at its upper end."""
    vehicle: str | None
    last_drill: date | None
    cost: float | None
    channel: str | None
    drop_order: int | None = None
    duty_from_s: float | None = None
    """Clock time from which it is on duty, seconds after midnight; None: always."""
    duty_to_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Kit:
    """One set of rescue gear, held by one team (None: spare, anyone may take it)."""

    id: str
    team: str | None
    technique: str
    rope_length_m: float
    throw_height_m: float
    """Greatest height at which a line can be got over the rope, hand or launcher."""
    launcher: bool
    descent_energy_j: float | None
    """Energy class of the descender (EN 341), None where it has none."""
    descent_used_j: float
    rated_least_kg: float | None
    rated_most_kg: float | None
    inspection_due: date | None
    retire_on: date | None
    stored_at: str
    pause_after: int | None = None
    """Descents after which the descender must cool; None: no pause stated."""
    pause_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Technique:
    """How a carrier is cleared, described by data (rules 12 and 13).

    Rope needed = ``per_rope_height`` x rope height + ``per_attachment_height`` x
    attachment height + ``per_seat_height`` x seat height + stance + knots and tails
    + belayer's tail, then + stretch share of that, + max(reserve, reserve share).
    """

    id: str
    kind: str
    """Also the name of its rows in the step times."""
    min_crew: int
    roles: str
    carrier_types: tuple[CarrierType, ...]
    per_rope_height: float
    per_attachment_height: float
    per_seat_height: float
    stance_m: float
    knots_tails_m: float
    belayer_tail_m: float
    stretch_share: float
    reserve_m: float
    reserve_share: float
    needs_line_over_rope: bool
    """True: reach is limited by the kit's ``throw_height_m``."""
    most_seat_height_m: float | None
    """Greatest seat height, for ladders; None: no such limit."""
    most_rope_slope_deg: float
    passes_rollers: bool
    passes_hold_downs: bool
    incapacitated: bool
    downhill_only: bool
    wind_limit_m_per_s: float
    approval: str
    """Approval reference; a cell that says no (`evac.gear.approval`) refuses the
    technique."""
    belayer_radius_m: float = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StepTime:
    """Seconds for one step of a rescue: low, likely, high (P10, mode, P90)."""

    technique: str
    step: str
    per: str
    seconds: Triple
    condition: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Hazard:
    """Something under or beside the line, as a gate (rule 20)."""

    id: str
    kind: str
    """One of `evac.inputs.geo.HAZARD_KINDS`."""
    name: str
    geometry: BaseGeometry
    opens_s: Triple | None
    """From the order until the gate is open; None: needs no opening."""
    opened_by: str
    extra_s_per_passenger: float
    extra_people: int
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """A track, piste, path, road or lift that teams may use to get in."""

    id: str
    kind: str
    name: str
    geometry: BaseGeometry
    travel: tuple[str, ...]
    one_way: bool
    speed_m_per_s: float | None
    """A fixed speed, such as another lift's; None: by the walking rule or vehicle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MusterPoint:
    """Where evacuees are gathered."""

    id: str
    name: str
    x_m: float
    y_m: float
    shelter_places: int
    vehicle_seats: int
    vehicle_round_s: float
    receivers: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Travel:
    """Speeds and the walking rule that access times are made with."""

    walking_rule: str
    """``"naismith"``, ``"din33466"`` or ``"tobler"``."""
    foot_factor: float
    """Multiplies walking times (snow, load); 1 is dry ground."""
    ski_down_m_per_s: float
    ski_flat_m_per_s: float
    vehicle_m_per_s: float
    off_way_factor: float
    """Multiplies the time off any way (last metres to the support)."""
    night_factor: float = 1.0
    """Multiplies every time on the way, see `evac.daylight.by_night`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Terrain:
    """Heights of the ground on a square grid of the lift's frame.

    ``elevation_m[row, column]`` is the ground at
    ``x_m = west_m + column * cell_m``, ``y_m = south_m + row * cell_m`` (cell
    centres; row 0 is the southern edge); NaN where the source has no height.
    """

    west_m: float
    south_m: float
    cell_m: float
    elevation_m: FloatArray
    source_cell_m: float
    """Cell size of the file it came from: what its detail can be trusted to."""
    sd_m: float
    """Standard deviation of a height (stated or assumed)."""
    source: str
    seam_step_m: float = 0.0
    """Median step between two source files where both have heights; 0 for one file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GroundTable:
    """Ground under each side of the line, surveyed as a table."""

    distance_m: FloatArray
    ascending_m: FloatArray
    descending_m: FloatArray
    sd_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Lift:
    """One lift: everything that its folder says, checked, in SI units."""

    name: str
    operator: str
    revision: str
    kind: str
    """As printed, such as ``"detachable four-seat chairlift"``."""
    ascending_on_right: bool
    """Seen from the first station as drawn, looking along the line."""
    upper_is_last: bool
    drive_at_last: bool
    gauge_m: float
    latitude_deg: float
    longitude_deg: float
    """Of the frame's origin."""
    supports: tuple[Support, ...]
    """In order of distance; the first and the last are the stations' edges."""
    rope: Rope
    tension: Tension
    carriers: Carriers
    load_cases: tuple[LoadCase, ...]
    occupancy: Triple
    """Share of the seats taken on the ascending side, for the simulation."""
    descending_occupancy: Triple
    limits: tuple[Limit, ...]
    drives: Drives
    conditions: Conditions
    organisation: Organisation
    travel: Travel
    teams: tuple[Team, ...]
    kits: tuple[Kit, ...]
    techniques: tuple[Technique, ...]
    step_times: tuple[StepTime, ...]
    hazards: tuple[Hazard, ...]
    ways: tuple[Way, ...]
    muster_points: tuple[MusterPoint, ...]
    terrain: Terrain | None
    ground_table: GroundTable | None
    assumptions: tuple[Assumption, ...]
    plan_texts: Mapping[str, str]
    """Free texts for the plan document: item key -> text."""
    findings: tuple[Finding, ...]
    """Doubts met while reading."""
    cuts_m: tuple[float, ...] = ()
    """Distances at which spans are cut so that two teams can share them."""
    off_duty: tuple[Team, ...] = ()
    """Teams that are not on duty at the planned order, see `evac.roster`."""
    spares: Mapping[str, str] = field(default_factory=dict)
    """Spare kit -> team that it is given to, see `evac.ready.give_spares`."""
    drill_records: tuple[DrillRecord, ...] = ()
    """What was timed in drills so far, from ``drills.csv``."""
    accepted_steps: frozenset[str] = frozenset()
    """`evac.learning.step_key` of the steps whose shorter time was accepted (25)."""
    night_counted: bool = False
    """Whether stated times are already those of the night, see
    `evac.daylight.by_night`."""
    data_source: str = ""
    """Whose data line, ways and hazards are, where a licence asks to name them."""
    fingerprint: Mapping[str, str] = field(default_factory=dict)
    """File name inside the folder -> SHA-256, of every file that was read."""
