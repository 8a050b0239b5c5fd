"""A whole invented plan, put together without the chain, to try the papers on.

Heights, times and zones are plausible numbers made by short formulas; nothing here is
computed by the project's own rope or assignment code. Arguments stretch it to the odd
cases: long names, strange ids, 45 carriers in one zone, nobody reached.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import pairwise

import builders
import numpy as np
from shapely.geometry import LineString, Polygon

from evac.facts.finding import Finding, Severity
from evac.facts.heights import (
    CarrierHeights,
    Heights,
    Line,
    SideEnvelope,
    SideGround,
    Span,
    SpanReport,
    StopGrid,
    StopHeights,
    SupportLoads,
    SupportReport,
    UnitHeights,
)
from evac.facts.lift import (
    Assumption,
    Hazard,
    Kit,
    Lift,
    LoadCase,
    MusterPoint,
    Side,
    Support,
    SupportKind,
    Team,
    Terrain,
    Way,
)
from evac.facts.plan import Plan
from evac.facts.work import (
    Assignment,
    Clock,
    LatestOrder,
    Option,
    Reach,
    Rescue,
    Route,
    Schedule,
    Simulation,
    Uncovered,
    UnitGate,
    Work,
    Zone,
)

LENGTH_M = 1600.0
BOTH = (Side.ASCENDING, Side.DESCENDING)


def ground_m(distance_m: object) -> np.ndarray:
    """Invented ground of the longer line, with a gully at 820 m."""
    distance = np.asarray(distance_m, float)
    slope = np.interp(
        distance,
        [-300, 0, 300, 700, 1000, 1300, 1600, 1900],
        [1190, 1200, 1262, 1355, 1440, 1555, 1610, 1620],
    )
    gully = 12 * np.exp(-(((distance - 820) / 25) ** 2))
    return slope - gully + 2.5 * np.sin(distance / 37)


def make_terrain() -> Terrain:
    """The same ground as a grid, falling to the right of the line."""
    bearing = np.radians(builders.BEARING_DEG)
    x_m = np.arange(-400.0, 1300.0, 10.0)
    y_m = np.arange(-300.0, 1800.0, 10.0)
    east, north = np.meshgrid(x_m, y_m)
    distance = east * np.sin(bearing) + north * np.cos(bearing)
    right = east * np.cos(bearing) - north * np.sin(bearing)
    return Terrain(
        west_m=float(x_m[0]),
        south_m=float(y_m[0]),
        cell_m=10.0,
        elevation_m=ground_m(distance) - 0.12 * right,
        source_cell_m=10.0,
        sd_m=0.8,
        source="invented",
    )


def make_long_lift(
    *,
    name: str = "Larkfell Four",
    support_ids: tuple[str, ...] | None = None,
    team_ids: tuple[str, ...] = ("Team 1", "Team 2", "Team 3", "Team 4"),
    spacing_m: float = 30.0,
) -> Lift:
    """The builders' lift stretched to 1.6 km with 16 supports."""
    ids = support_ids or tuple(str(number) for number in range(16))
    distances = np.linspace(0.0, LENGTH_M, len(ids))
    supports = tuple(
        Support(
            id=support_id,
            distance_m=float(distance),
            ground_m=float(ground_m(distance)),
            rope_height_m=4.5 if number in (0, len(ids) - 1) else 11.0 + number % 3,
            kind=SupportKind.STATION
            if number in (0, len(ids) - 1)
            else (SupportKind.HOLD_DOWN if number == 7 else SupportKind.SUPPORT),
            x_m=builders.along(distance)[0],
            y_m=builders.along(distance)[1],
        )
        for number, (support_id, distance) in enumerate(
            zip(ids, distances, strict=True)
        )
    )
    base = builders.make_lift()
    techniques = builders.make_techniques()
    teams = tuple(
        Team(
            id=team,
            crew=3 + number % 2,
            techniques=(techniques[0].id, techniques[1].id),
            start_place=("lower station", "patrol hut", "upper station")[number % 3],
            start_x_m=builders.along(-10 + 500 * number, 60)[0],
            start_y_m=builders.along(-10 + 500 * number, 60)[1],
            ready_s=300.0 + 60 * number,
            travel=("foot", "ski", "snow vehicle")[number % 3],
            start_upper=True,
            vehicle="piste machine 2" if number % 3 == 2 else None,
            last_drill=date(2026, 11, 20),
            cost=None,
            channel="Rescue 1" if number % 2 else None,
        )
        for number, team in enumerate(team_ids)
    )
    kits = tuple(
        Kit(
            id=f"K{number + 1}",
            team=team,
            technique=techniques[number % 2].id,
            rope_length_m=(60.0, 40.0, 50.0, 75.0)[number % 4],
            throw_height_m=(25.0, 99.0, 14.0, 25.0)[number % 4],
            launcher=number % 2 == 0,
            descent_energy_j=7.5e6 if number % 2 else None,
            descent_used_j=0.6e6 if number % 2 else 0.0,
            rated_least_kg=30.0 if number % 2 else None,
            rated_most_kg=150.0 if number % 2 else None,
            inspection_due=date(2026, 12, 1) if number else date(2027, 9, 30),
            retire_on=date(2031, 9, 30),
            stored_at="patrol hut",
        )
        for number, team in enumerate(team_ids)
    )
    return replace(
        base,
        name=name,
        supports=supports,
        carriers=replace(base.carriers, spacing_m=spacing_m),
        teams=teams,
        kits=kits,
        terrain=make_terrain(),
        ground_table=None,
        load_cases=(
            LoadCase(
                name="ascending side full", ascending_share=1.0, descending_share=0.0
            ),
        ),
        hazards=make_hazards(),
        ways=(
            Way(
                id="track",
                kind="track",
                name="Supply track",
                geometry=LineString(
                    [
                        builders.along(d, 60 + 30 * np.sin(d / 120))
                        for d in range(-20, 1640, 20)
                    ]
                ),
                travel=("foot", "ski", "snow vehicle"),
                one_way=False,
                speed_m_per_s=None,
            ),
        ),
        muster_points=(
            MusterPoint(
                id="hut",
                name="Lower hut",
                x_m=builders.along(-20, 60)[0],
                y_m=builders.along(-20, 60)[1],
                shelter_places=120,
                vehicle_seats=8,
                vehicle_round_s=900.0,
                receivers=2,
            ),
        ),
        assumptions=(
            Assumption(
                key="carriers.passenger_mass_kg",
                value="85 kg",
                reason="80 kg and ski gear (common practice, no source)",
                accepted=True,
            ),
            Assumption(
                key="rope.axial_stiffness_mn",
                value="70 MN",
                reason="no certificate in the folder",
                accepted=False,
            ),
        ),
        plan_texts={
            "authority": "The operations manager on duty decides.",
            "informing": "Loudspeakers at both stations; informers on ski.",
        },
        fingerprint={"lift.toml": "ab" * 32, "supports.csv": "cd" * 32},
    )


def make_hazards() -> tuple[Hazard, ...]:
    """A road, a power line, a steep landing and a stream."""
    base = builders.make_lift().hazards[0]
    return (
        replace(
            base,
            geometry=LineString([builders.along(160, 90), builders.along(175, -90)]),
        ),
        replace(
            base,
            id="power",
            kind="power line",
            name="Valley feeder, 20 kV",
            geometry=LineString([builders.along(750, 90), builders.along(770, -90)]),
            opened_by="grid control room",
            note="switched off, tested and earthed, confirmed by radio",
        ),
        replace(
            base,
            id="step",
            kind="steep ground",
            name="Steep step",
            geometry=Polygon(
                [
                    builders.along(1020, 40),
                    builders.along(1090, 40),
                    builders.along(1090, -40),
                    builders.along(1020, -40),
                ]
            ),
            opens_s=None,
            opened_by="",
            extra_s_per_passenger=40.0,
            note="receiver with a fixed rope",
        ),
        replace(
            base,
            id="burn",
            kind="water",
            name="Lark burn",
            geometry=LineString([builders.along(800, 60), builders.along(830, -60)]),
            opens_s=None,
            opened_by="",
            note="tag line",
        ),
    )


def make_line(lift: Lift) -> Line:
    """Ground samples every metre below both sides."""
    supports = lift.supports
    spans = tuple(
        Span(
            index=index,
            id=f"{start.id}-{end.id}",
            start_m=start.distance_m,
            end_m=end.distance_m,
            start_support=start.id,
            end_support=end.id,
        )
        for index, (start, end) in enumerate(pairwise(supports))
    )
    distance = np.arange(0.0, supports[-1].distance_m + 0.5, 1.0)
    ground = {}
    for side, right_m in zip(BOTH, (3.0, -3.0), strict=True):
        xy = np.array([builders.along(d, right_m) for d in distance])
        elevation = ground_m(distance) - 0.12 * right_m
        ground[side] = SideGround(
            side=side,
            distance_m=distance,
            elevation_m=elevation,
            stance_m=elevation - 0.8,
            slope_deg=np.degrees(np.arctan(np.abs(np.gradient(elevation, distance)))),
            sd_m=np.full(distance.size, 0.5),
            x_m=xy[:, 0],
            y_m=xy[:, 1],
        )
    return Line(
        supports=supports,
        spans=spans,
        distance_m=np.array([item.distance_m for item in supports]),
        rope_elevation_m=np.array(
            [item.ground_m + item.rope_height_m for item in supports]
        ),
        ground=ground,
        ground_step_m=0.0,
        terrain_cell_m=10.0,
    )


def _rope_m(line: Line, distance_m: np.ndarray, sag_share: float) -> np.ndarray:
    chord = np.interp(distance_m, line.distance_m, line.rope_elevation_m)
    index = np.clip(
        np.searchsorted(line.distance_m, distance_m, side="right") - 1,
        0,
        len(line.spans) - 1,
    )
    start, end = line.distance_m[index], line.distance_m[index + 1]
    share = (distance_m - start) / (end - start)
    rope: np.ndarray = chord - 4 * sag_share * (end - start) * share * (1 - share)
    return rope


def make_heights(lift: Lift, line: Line, *, unknown_span: int | None) -> Heights:
    """Parabolas for a rope; a margin of 0.6 m."""
    envelopes, units, reference, reports, spans, stops = {}, [], {}, [], [], {}
    for side in BOTH:
        ground = line.ground[side]
        high = _rope_m(line, ground.distance_m, 0.008) - ground.elevation_m
        low = _rope_m(line, ground.distance_m, 0.022) - ground.elevation_m
        known = np.ones(high.size, bool)
        if unknown_span is not None:
            span = line.spans[unknown_span]
            known = (ground.distance_m < span.start_m) | (
                ground.distance_m > span.end_m
            )
        envelopes[side] = SideEnvelope(
            side=side,
            distance_m=ground.distance_m,
            rope_greatest_m=np.where(known, high, np.nan),
            rope_least_m=np.where(known, low, np.nan),
            stance_greatest_m=np.where(known, high + 0.8, np.nan),
            margin_m=np.where(known, 0.6, np.nan),
            slope_greatest_deg=np.full(high.size, 16.0),
            drift_m=np.zeros(high.size),
            known=known,
        )
        for span in line.spans:
            inside = (ground.distance_m >= span.start_m) & (
                ground.distance_m <= span.end_m
            )
            greatest = float(high[inside].max())
            is_known = span.index != unknown_span
            units.append(
                UnitHeights(
                    side=side,
                    span_index=span.index,
                    span_id=span.id,
                    rope_greatest_m=greatest if is_known else float("nan"),
                    stance_greatest_m=greatest + 0.8 if is_known else float("nan"),
                    greatest_at_m=float(
                        ground.distance_m[inside][high[inside].argmax()]
                    ),
                    rope_least_m=float(low[inside].min()) if is_known else float("nan"),
                    seat_greatest_m=greatest
                    - lift.carriers.rope_to_seat_m
                    + (0.0 if is_known else float("nan")),
                    seat_least_m=float(low[inside].min())
                    - lift.carriers.rope_to_seat_m,
                    margin_m=0.6,
                    slope_greatest_deg=16.0,
                    ground_slope_deg=18.0,
                    carriers_most=int(
                        (span.end_m - span.start_m) / lift.carriers.spacing_m
                    )
                    + 1,
                    known=is_known,
                    reason="" if is_known else "void",
                    # sqrt(0.32^2 + 0.24^2) + 0.2 = 0.6
                    margin_parts_m={
                        "survey": 0.24,
                        "ground": 0.32,
                        "order of work": 0.2,
                    },
                )
            )
        reference[side] = _reference(lift, line, side)
        stops[side] = reference[side].carriers
        for support in lift.supports:
            hold = support.kind is SupportKind.HOLD_DOWN
            reports.append(
                SupportReport(
                    side=side,
                    support_id=support.id,
                    kind=str(support.kind or "support"),
                    inferred=False,
                    least_load_n=-14_000.0 if hold else 9_000.0,
                    greatest_load_n=-4_000.0 if hold else 31_000.0,
                    greatest_deflection_deg=6.0,
                    lifted=False,
                    worst_load_name="ascending side full",
                )
            )
        spans += [
            SpanReport(
                side=side,
                span_id=span.id,
                greatest_sag_m=0.022 * (span.end_m - span.start_m),
                least_tension_n=120_000.0,
                greatest_tension_n=190_000.0,
                safety_factor=5.4,
            )
            for span in line.spans
        ]
    return Heights(
        line=line,
        load_cases=lift.load_cases,
        envelopes=envelopes,
        units=tuple(units),
        stops=StopGrid(
            offset_m=np.array([0.0]),
            distance_m={side: stops[side].distance_m[None, :] for side in BOTH},
            span_index={side: stops[side].span_index[None, :] for side in BOTH},
            rope_height_m={side: stops[side].rope_height_m[None, :] for side in BOTH},
            seat_height_m={side: stops[side].seat_height_m[None, :] for side in BOTH},
        ),
        supports=tuple(reports),
        spans=tuple(spans),
        reference=reference,
        states_solved=1240,
        greatest_residual_n=0.02,
    )


def _reference(lift: Lift, line: Line, side: Side) -> StopHeights:
    dense = np.arange(0.0, line.distance_m[-1], 2.0)
    at = np.arange(5.0, line.distance_m[-1], 0.96 * lift.carriers.spacing_m)
    rope = _rope_m(line, at, 0.015)
    ground = line.ground[side]
    height = rope - np.interp(at, ground.distance_m, ground.elevation_m)
    index = np.clip(
        np.searchsorted(line.distance_m, at, side="right") - 1, 0, len(line.spans) - 1
    )
    n = len(line.supports)
    return StopHeights(
        side=side,
        stop_offset_m=0.0,
        load_name="ascending side full",
        rope_distance_m=dense,
        rope_elevation_m=_rope_m(line, dense, 0.015),
        carriers=CarrierHeights(
            side=side,
            ordinal=np.arange(at.size),
            distance_m=at,
            span_index=index,
            rope_elevation_m=rope,
            rope_height_m=height,
            attachment_height_m=height - lift.carriers.rope_to_descender_m,
            seat_height_m=height - lift.carriers.rope_to_seat_m,
            rope_slope_deg=np.full(at.size, 14.0),
            people=np.full(at.size, 4.0 if side is Side.ASCENDING else 0.0),
            known=np.ones(at.size, bool),
        ),
        loads=SupportLoads(
            side=side,
            load_n=np.full(n, 20_000.0),
            tension_n=np.full(n, 150_000.0),
            deflection_deg=np.full(n, 5.0),
            lifted=np.zeros(n, bool),
        ),
        span_horizontal_tension_n=np.full(n - 1, 150_000.0),
        residual_n=0.01,
    )


def make_plan(
    lift: Lift | None = None,
    *,
    zones: int | None = None,
    unknown_span: int | None = None,
    unreached_span: int | None = None,
    reserve: bool = True,
    findings: tuple[Finding, ...] = (),
) -> Plan:
    """One invented plan: contiguous zones of equal length, one a team.

    ``zones`` teams get a zone on both sides; with ``reserve`` the last team stays in
    reserve. ``unreached_span`` belongs to nobody.
    """
    lift = lift or make_long_lift()
    line = make_line(lift)
    heights = make_heights(lift, line, unknown_span=unknown_span)
    options = _options(lift)
    working = len(lift.teams) - (1 if reserve and len(lift.teams) > 1 else 0)
    parts = np.array_split(np.arange(len(line.spans)), zones or working)
    missing = {span for span in (unreached_span, unknown_span) if span is not None}
    made_zones, rescues, routes = [], [], []
    for number, part in enumerate(parts):
        team = lift.teams[number]
        kept = [int(span) for span in part if int(span) not in missing]
        option = next(item for item in options if item.team == team.id)
        start = kept[-1] + 1
        arrive = int(team.ready_s + 400 + 60 * number)
        rows = _rescues(heights, team.id, kept, start_s=max(arrive, 1500))
        rescues += rows
        for support in range(len(lift.supports)):
            routes.append(_route(lift, team, support, seconds=400.0 + 60 * number))
        made_zones.append(
            Zone(
                team=team.id,
                option=option,
                first_span=kept[0],
                last_span=kept[-1],
                sides=BOTH,
                start_support=start,
                arrival_s=arrive,
                start_s=max(arrive, 1500),
                finish_s=int(rows[-1].finish_s),
                work_s=int(rows[-1].finish_s) - 1500,
                people=sum(row.people for row in rows),
            )
        )
    clear_s = max(zone.finish_s for zone in made_zones)
    runs = np.sort(
        clear_s * np.random.default_rng(1).lognormal(mean=0.02, sigma=0.18, size=2000)
    )
    uncovered = tuple(
        Uncovered(
            side=Side.ASCENDING,
            span_index=span,
            people=16,
            reason="assignment.reason.reach",
            remedy="assignment.remedy.reach",
            values={},
        )
        for span in sorted(missing)
    )
    p90 = float(np.quantile(runs, 0.9))
    met = p90 + 1800 < lift.limits[0].minutes * 60 if lift.limits else None
    latest = LatestOrder(
        reason="limit",
        after_stop_s=lift.limits[0].minutes * 60 - p90 if lift.limits else 0.0,
        clock_s=lift.conditions.stop_clock_s
        + (lift.limits[0].minutes * 60 - p90 if lift.limits else 0.0),
        met=bool(met),
        source=lift.limits[0].source if lift.limits else "",
    )
    n, q = len(line.spans), len(options)
    return Plan(
        lift=lift,
        date=date(2026, 11, 25),
        seed=1,
        fingerprint="3f9a-77c1-20be",
        heights=heights,
        reaches=_reaches(lift, heights, options, unreached_span),
        gates=_gates(line),
        routes=tuple(routes),
        work=Work(
            team_ids=tuple(team.id for team in lift.teams),
            crew=np.array([team.crew for team in lift.teams]),
            start_upper=np.ones(len(lift.teams), bool),
            upper_is_last=True,
            options=options,
            option_team=np.array([item.team_index for item in options]),
            valid=np.ones((q, 2, n), bool),
            work_s=np.full((q, 2, n, 1), 900),
            cross_s=np.full((q, n + 1), 120),
            side_change_s=np.full(q, 60),
            walk_back_s=np.full((q, n), 120),
            gate_s=np.zeros((2, n), int),
            secured_s=1500,
            arrive_s=np.full((len(lift.teams), n + 1), 900),
            people=np.full((2, n), 12),
            people_at=np.full((2, n, 1), 12),
            planned=np.tile(~np.isin(np.arange(n), list(missing)), (2, 1)),
            latest_arrival_s=10**9,
        ),
        assignment=Assignment(
            zones=tuple(made_zones),
            uncovered=uncovered,
            objectives=(sum(item.people for item in uncovered), clear_s, 100, 100, 100),
            bound_s=clear_s,
            proven=True,
            method="programme",
            binding_teams=(made_zones[-1].team,),
            reserve_teams=tuple(team.id for team in lift.teams[len(parts) :]),
        ),
        schedule=Schedule(
            stop_offset_m=0.0,
            rescues=tuple(rescues),
            clear_s=float(clear_s),
        ),
        muster={
            span.index: _route(lift, lift.teams[0], 0, seconds=300 + 40.0 * span.index)
            for span in line.spans
        },
        muster_point={
            span.index: lift.muster_points[0].id
            for span in line.spans
            if lift.muster_points
        },
        simulation=Simulation(
            runs=2000,
            seed=1,
            order_to_first_s=runs * 0.2,
            order_to_clear_s=runs,
            order_to_safe_s=runs + 900,
            stop_to_order_s=np.full(2000, 900.0),
            p50_s=float(np.quantile(runs, 0.5)),
            p90_s=p90,
            p50_interval_s=(float(np.quantile(runs, 0.48)),) * 2,
            p90_interval_s=(p90 - 60, p90 + 60),
            p50_independent_s=clear_s * 1.01,
            p90_independent_s=clear_s * 1.06,
            safe_p90_s=p90 + 900,
            chance_of_limit=0.93 if lift.limits else None,
            last_team_share={zone.team: 1 / len(made_zones) for zone in made_zones},
            everyone_reached=not uncovered,
        ),
        clock=Clock(
            stop_clock_s=lift.conditions.stop_clock_s,
            order_clock_s=lift.conditions.stop_clock_s + 900,
            latest=(latest,) if lift.limits else (),
            binding=latest if lift.limits else None,
            sunset_clock_s=17 * 3600.0,
            dusk_clock_s=17.5 * 3600,
            wind_chill_c=-15.0,
            cold_class="low",
            exposure_limit_s=None,
            emptying_s=(900.0, 2200.0, 4400.0),
            standdown_s=900.0,
            informer_round_s=1000.0,
            first_word_met=False,
        ),
        remedies=(),
        findings=findings,
        everyone_reached=not uncovered,
        limit_met=met,
    )


def walked_past(plan: Plan, *, span: int) -> Plan:
    """The same plan, but nobody can take a span in the middle of somebody's zone."""
    planned = plan.work.planned.copy()
    planned[:, span] = False
    rescues = tuple(item for item in plan.schedule.rescues if item.span_index != span)
    uncovered = tuple(
        Uncovered(
            side=side,
            span_index=span,
            people=12,
            reason="assignment.reason.reach",
            remedy="assignment.remedy.reach",
            values={},
        )
        for side in BOTH
    )
    return replace(
        plan,
        work=replace(plan.work, planned=planned),
        schedule=replace(plan.schedule, rescues=rescues),
        assignment=replace(plan.assignment, uncovered=uncovered),
        simulation=replace(plan.simulation, everyone_reached=False),
        everyone_reached=False,
    )


def _options(lift: Lift) -> tuple[Option, ...]:
    index = {team.id: number for number, team in enumerate(lift.teams)}
    return tuple(
        Option(
            index=number,
            team=kit.team or "",
            team_index=index[kit.team or ""],
            kit=kit.id,
            technique=kit.technique,
        )
        for number, kit in enumerate(lift.kits)
        if kit.team in index
    )


def _rescues(
    heights: Heights, team: str, spans: list[int], *, start_s: float
) -> list[Rescue]:
    found: list[Rescue] = []
    clock = float(start_s)
    for span in reversed(spans):
        for side in BOTH:
            carriers = heights.reference[side].carriers
            for at in np.flatnonzero(carriers.span_index == span)[::-1]:
                people = int(carriers.people[at])
                took = 60.0 + 140.0 * people
                found.append(
                    Rescue(
                        team=team,
                        order=len(found),
                        side=side,
                        span_index=span,
                        distance_m=float(carriers.distance_m[at]),
                        people=people,
                        rope_height_m=float(carriers.rope_height_m[at]),
                        seat_height_m=float(carriers.seat_height_m[at]),
                        rope_needed_m=2 * float(carriers.rope_height_m[at]) + 16,
                        start_s=clock,
                        finish_s=clock + took,
                    )
                )
                clock += took + 20
    return found


def _route(lift: Lift, team: Team, support: int, *, seconds: float) -> Route:
    end = lift.supports[support]
    track = np.linspace(
        (team.start_x_m, team.start_y_m), (end.x_m + 40, end.y_m - 20), 12
    )
    return Route(
        team=team.id,
        support_index=support,
        seconds=seconds,
        length_m=float(np.hypot(*np.diff(track, axis=0).T).sum()) + 45,
        climb_m=abs(end.ground_m - 1200.0) / 3,
        x_m=(*track[:, 0].tolist(), end.x_m),
        y_m=(*track[:, 1].tolist(), end.y_m),
        way_ids=("track",),
    )


def _reaches(
    lift: Lift, heights: Heights, options: tuple[Option, ...], unreached: int | None
) -> tuple[Reach, ...]:
    kits = {kit.id: kit for kit in lift.kits}
    found = []
    for option in options:
        for unit in heights.units:
            needed = 2 * unit.rope_greatest_m + 16
            ok = unit.known and unit.span_index != unreached
            found.append(
                Reach(
                    option_index=option.index,
                    side=unit.side,
                    span_index=unit.span_index,
                    rope_needed_m=needed,
                    rope_have_m=kits[option.kit].rope_length_m,
                    height_m=unit.rope_greatest_m,
                    margin_m=unit.margin_m,
                    ok=ok,
                    limit="ok" if ok else ("rope" if unit.known else "unknown"),
                )
            )
    return tuple(found)


def _gates(line: Line) -> tuple[UnitGate, ...]:
    below = {1: ("road",), 7: ("power", "burn"), 9: ("step",), 10: ("step",)}
    return tuple(
        UnitGate(
            side=side,
            span_index=span.index,
            hazard_ids=below.get(span.index, ()),
            opens_s=600.0 if span.index in (1, 7) else 0.0,
            opens_low_s=300.0 if span.index in (1, 7) else 0.0,
            opens_high_s=900.0 if span.index in (1, 7) else 0.0,
            extra_s_per_passenger=40.0 if span.index in (9, 10) else 0.0,
            extra_people=1 if span.index == 1 else 0,
        )
        for side in BOTH
        for span in line.spans
    )


NOTES = (
    Finding(
        key="sheet.glyphs",
        severity=Severity.WARN,
        where="",
        values={"glyphs": "日 本"},
    ),
)
