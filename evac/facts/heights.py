"""Facts about the line and the heights above it that later steps read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from evac.facts.lift import FloatArray, LoadCase, Side, Support

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """The stretch between two neighbouring supports; ``id`` is such as ``"3-4"``."""

    index: int
    id: str
    start_m: float
    end_m: float
    start_support: str
    end_support: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SideGround:
    """The ground under one side, sampled along the line.

    ``stance_m`` is the lowest ground within the belayer's radius of each point, the
    greatest radius of all techniques.
    ``slope_deg`` is the steepness of the ground there (steepest direction where the
    terrain is known; of a ground table along the line and between the two ropes).
    ``sd_m`` is the standard deviation of ``elevation_m``, wider between rows of a table
    that stand far apart. ``x_m, y_m`` place the samples. NaN where the terrain has a
    void; never extrapolated.
    """

    side: Side
    distance_m: FloatArray
    elevation_m: FloatArray
    stance_m: FloatArray
    slope_deg: FloatArray
    sd_m: FloatArray
    x_m: FloatArray
    y_m: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """Where things stand: supports, spans and the ground of both sides.

    ``rope_elevation_m`` (n,) is the rope at each support.
    """

    supports: tuple[Support, ...]
    spans: tuple[Span, ...]
    distance_m: FloatArray
    rope_elevation_m: FloatArray
    ground: Mapping[Side, SideGround]
    ground_step_m: float
    """How far the ground stands above the supports' surveyed ground (median), as where
    the two use different height datums; 0 where no support is surveyed."""
    terrain_cell_m: float | None
    """Cell size of the source terrain; None for a surveyed table."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CarrierHeights:
    """Every carrier of one side at one stop; arrays of shape (n_carriers,).

    In order of ``distance_m``, whatever the drive's end. ``ordinal`` counts from the
    drive station, 0 first. Heights are vertical above ground without snow; NaN where
    not known (``known`` False). ``people`` of the load case.
    """

    side: Side
    ordinal: IntArray
    distance_m: FloatArray
    span_index: IntArray
    rope_elevation_m: FloatArray
    rope_height_m: FloatArray
    attachment_height_m: FloatArray
    seat_height_m: FloatArray
    rope_slope_deg: FloatArray
    people: FloatArray
    known: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True)
class SupportLoads:
    """The rope on each support of one side; arrays of shape (n_supports,).

    ``load_n`` is positive where the rope presses down on the support. ``tension_n``
    arrives from the drive side.
    ``deflection_deg`` is the rope's change of angle. ``lifted``: the rope left it.
    """

    side: Side
    load_n: FloatArray
    tension_n: FloatArray
    deflection_deg: FloatArray
    lifted: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True)
class StopHeights:
    """One side of the line at one stop and load: the rope and its carriers."""

    side: Side
    stop_offset_m: float
    load_name: str
    rope_distance_m: FloatArray
    """Dense points along the rope, in order of distance, for drawing."""
    rope_elevation_m: FloatArray
    carriers: CarrierHeights
    loads: SupportLoads
    span_horizontal_tension_n: FloatArray
    residual_n: float
    """Greatest residual of the solution, as a force."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SideEnvelope:
    """Greatest and least heights of one side, over everything that may happen.

    Arrays of shape (m,), one value a metre along the line. ``rope_greatest_m`` and
    ``rope_least_m`` are the heights of the haul rope at a carrier's grip above bare
    ground; a seat hangs ``rope_to_seat_m`` lower. ``stance_greatest_m`` is the rope's
    greatest height above the lowest ground within the belayer's radius. ``margin_m``
    is the uncertainty to add to a greatest or take off a least height. ``drift_m`` is
    how far along the line a carrier that comes there may move while the line is
    emptied. NaN and ``known`` False where the height is not known.
    """

    side: Side
    distance_m: FloatArray
    rope_greatest_m: FloatArray
    rope_least_m: FloatArray
    stance_greatest_m: FloatArray
    margin_m: FloatArray
    slope_greatest_deg: FloatArray
    drift_m: FloatArray
    known: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitHeights:
    """One span of one side: what matters for choosing gear.

    Greatest and least over the span's envelope; ``margin_m`` is such that adding it to
    a greatest height covers every place of the span with its own margin.
    ``stance_greatest_m`` as in `SideEnvelope`. ``carriers_most`` is the most carriers
    that can stand in the span. ``known`` False: not planned, with ``reason`` (a words
    key below ``unknown.``). ``beside_lifted``: in some state of the evacuation the
    rope of either side leaves the rollers of a support beside the span.
    ``slope_greatest_deg`` is the haul rope's, from the horizontal;
    ``ground_slope_deg`` the ground's.
    """

    side: Side
    span_index: int
    span_id: str
    rope_greatest_m: float
    stance_greatest_m: float
    greatest_at_m: float
    rope_least_m: float
    seat_greatest_m: float
    seat_least_m: float
    margin_m: float
    slope_greatest_deg: float
    ground_slope_deg: float
    carriers_most: int
    known: bool
    reason: str
    beside_lifted: bool = False
    margin_parts_m: Mapping[str, float] = field(default_factory=dict)
    """Source of uncertainty -> its part [m] at the place whose height and margin
    together are greatest; parts add as the root of their squares, those named ``height
    step``, ``order of work`` and ``place`` in full. ``place``, 0 or less: what that
    place lies below the greatest height (above the least). They join to ``margin_m``;
    empty where the heights are not known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StopGrid:
    """Where the carriers stand for a grid of stop positions; for costs, simulation.

    ``offset_m`` (o,); per side ``distance_m[side]`` (o, k) and ``span_index[side]``
    (o, k), padded with NaN and -1 where a stop has fewer carriers, in order of
    distance. ``people_most`` is the seats of a carrier. ``rope_height_m[side]``
    (o, k): envelope's greatest rope height where that carrier stands.
    """

    offset_m: FloatArray
    distance_m: Mapping[Side, FloatArray]
    span_index: Mapping[Side, IntArray]
    rope_height_m: Mapping[Side, FloatArray]
    seat_height_m: Mapping[Side, FloatArray]
    people: Mapping[Side, IntArray] | None = None
    """Per side (o, k), where the people of every carrier are counted already, as once
    an evacuation has begun; None: the planned load, spread evenly."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SupportReport:
    """One support over all solved states: least and greatest load, lift-off, angle."""

    side: Side
    support_id: str
    kind: str
    inferred: bool
    least_load_n: float
    greatest_load_n: float
    greatest_deflection_deg: float
    lifted: bool
    worst_load_name: str
    """Load case of the least absolute load."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SpanReport:
    """One span of one side over all solved states."""

    side: Side
    span_id: str
    greatest_sag_m: float
    least_tension_n: float
    greatest_tension_n: float
    safety_factor: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Heights:
    """All that the heights step found for one lift."""

    line: Line
    load_cases: tuple[LoadCase, ...]
    envelopes: Mapping[Side, SideEnvelope]
    units: tuple[UnitHeights, ...]
    """Both sides, every span: ascending first, in order of span."""
    stops: StopGrid
    supports: tuple[SupportReport, ...]
    spans: tuple[SpanReport, ...]
    reference: Mapping[Side, StopHeights]
    """The loaded line at stop position 0, for drawings and sheets."""
    states_solved: int
    greatest_residual_n: float
    drive_ratio: float | None = None
    """Greater over lesser tension of the two ropes at the drive bullwheel, at stop
    position 0: the greatest over all tension forces and over the declared loads and
    none of either side. What the lining must hold by friction."""
