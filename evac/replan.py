"""Planning again from where the evacuation stands.

The same model on the carriers that still hang: each team is free when the carrier in
hand is done, and comes from where it stands. Zones are kept unless moving gains more
than a threshold: a new order costs words on the radio and trust.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np

from evac import access, gear, hazards, timing
from evac.assignment import assign
from evac.assignment.keep import own_rows, own_zones_only, told_by
from evac.clearing import make_schedule, runs_towards_last
from evac.daylight import by_night
from evac.errors import EvacError
from evac.factors import NIGHT
from evac.facts.change import Replanned, Situation
from evac.facts.heights import Heights, StopGrid, UnitHeights
from evac.facts.lift import Lift, Side, Team, Triple
from evac.facts.plan import Plan
from evac.facts.work import NEVER_S, Assignment, Rescue, UnitGate, Work, Zone
from evac.heights.stop import doubtful_spans
from evac.heights.units import doubtful_findings
from evac.sharing import clear_p90_s

SIDES = (Side.ASCENDING, Side.DESCENDING)
WORTH_MOVING_S = 600.0
"""Ten minutes: below that teams stay in their zones (common practice, no source)."""


def replan(
    plan: Plan, situation: Situation, *, threshold_s: float = WORTH_MOVING_S
) -> Replanned:
    """Share out what is left, from where everybody stands now.

    Parameters
    ----------
    plan : Plan
        What was ordered.
    situation : Situation
        What is so now: the time, who is missing, what is cleared, which support is
        doubtful, which gate is still shut, whether it is dark.
    threshold_s : float
        Teams keep their zones unless moving brings the last finish forward by more
        than this, at the plan's step times and in nine of ten imagined days, or
        reaches people who would stay uncovered.

    Returns
    -------
    Replanned
        All times count from the order, as in the plan.

    Raises
    ------
    EvacError
        If the situation names a team, support, hazard or stop the plan does not have,
        or more carriers than a team has in its zone.

    Notes
    -----
    Teams that have begun go on from the carrier where they stand, and may walk from
    there to any support. Who has done one side of a span walks back along it to the
    other, as in the plan. Teams on their way first arrive where they were sent, then
    go on: the cautious reading. The set-up of a span in work is counted again.
    """
    _require_known(plan, situation)
    schedule = make_schedule(
        plan.lift,
        plan.heights,
        plan.work,
        plan.assignment,
        stop_index=situation.stop_index,
        gates=plan.gates,
    )
    done = _done(schedule.rescues, situation)
    lift = _lift_now(plan, situation, done)
    heights = _heights_now(lift, plan, situation, done)
    gates = hazards.find_gates(lift, heights.line)
    work = _work_now(lift, heights, gates, plan, done)
    # What was shared out by average times is judged by them: by likely ones alone it
    # would look wrong from the start, and everybody would be sent elsewhere.
    by_mean = plan.assignment.chosen_by == "mean"
    judged = (
        _work_now(lift, heights, gates, plan, done, at_mean=True) if by_mean else work
    )
    moved = assign(judged)
    kept = assign(own_zones_only(judged, plan.assignment.zones, planned=plan.work))
    stays = kept.objectives[0] <= moved.objectives[0] and (
        kept.objectives[1] - moved.objectives[1] <= threshold_s
        or _p90_gain_s(
            lift, heights, work, (kept, moved), plan, gates, now_s=situation.now_s
        )
        <= threshold_s
    )
    chosen = kept if stays else moved
    if by_mean:
        chosen = told_by(work, chosen.zones, best=assign(work))
    return Replanned(
        lift=lift,
        heights=heights,
        work=work,
        assignment=chosen,
        schedule=make_schedule(lift, heights, work, chosen, stop_index=0, gates=gates),
        kept=stays,
        kept_s=kept.objectives[1],
        moved_s=moved.objectives[1],
        kept_uncovered=kept.objectives[0],
        people_left=sum(
            int(timing.stop_people(lift, heights.stops, side).sum()) for side in SIDES
        ),
        findings=(
            *doubtful_findings(heights.line),
            *gear.budget_doubts(lift, heights, chosen),
        ),
    )


def _p90_gain_s(
    lift: Lift,
    heights: Heights,
    work: Work,
    kept_and_moved: tuple[Assignment, Assignment],
    plan: Plan,
    gates: tuple[UnitGate, ...],
    *,
    now_s: float,
) -> float:
    """By how much moving brings the P90 forward: a gain must hold on hard days too."""
    kept_s, moved_s = (
        clear_p90_s(
            lift, heights, work, zones, seed=plan.seed, gates=gates, now_s=now_s
        )
        for zones in kept_and_moved
    )
    return kept_s - moved_s


def _require_known(plan: Plan, situation: Situation) -> None:
    teams = {team.id for team in plan.lift.teams}
    known = {
        "team": (
            teams,
            {*situation.missing_teams, *situation.cleared, *situation.in_hand_s},
        ),
        "support": (
            # Nothing stands at a mark that could be in doubt.
            {support.id for support in plan.lift.supports if not support.mark},
            set(situation.doubtful_supports),
        ),
        "hazard": (
            {hazard.id for hazard in plan.lift.hazards},
            set(situation.gates_open_s),
        ),
    }
    for kind, (have, named) in known.items():
        if unknown := sorted(named - have):
            message = (
                f"the plan has no {kind} {', '.join(unknown)}; "
                f"it has {', '.join(sorted(have))}"
            )
            raise EvacError(message)
    if set(situation.missing_teams) >= teams:
        message = "every team is missing: there is nobody to plan with"
        raise EvacError(message)


def _done(
    rescues: Iterable[Rescue], situation: Situation
) -> Mapping[str, tuple[Rescue, ...]]:
    """Team -> the carriers it has cleared, in the order of its sheet."""
    by_team: dict[str, list[Rescue]] = {}
    for rescue in rescues:
        by_team.setdefault(rescue.team, []).append(rescue)
    found = {}
    for team in sorted({*situation.cleared, *situation.in_hand_s}):
        count = situation.cleared.get(team, 0)
        turns = sorted(by_team.get(team, []), key=lambda rescue: rescue.order)
        if not 0 <= count <= len(turns):
            message = (
                f"{team} has {len(turns)} carriers in its zone at this stop and cannot "
                f"have cleared {count}; count its tally again"
            )
            raise EvacError(message)
        # The carrier in hand will be clear before the team does anything else.
        in_hand = int(team in situation.in_hand_s)
        found[team] = tuple(turns[: count + in_hand])
    return found


def _lift_now(
    plan: Plan, situation: Situation, done: Mapping[str, tuple[Rescue, ...]]
) -> Lift:
    """The lift with the teams where they stand, and today's doubts."""
    zones = {zone.team: zone for zone in plan.assignment.zones}
    missing = set(situation.missing_teams)
    doubtful = set(situation.doubtful_supports)
    opens = situation.gates_open_s
    lift = _by_this_light(plan.lift, situation)
    organisation = lift.organisation
    if any(done.values()):
        # Who lowers has heard "line secured": no day may take that back.
        organisation = replace(
            organisation, order_to_secured_s=_surely(situation.now_s)
        )
    used_j = _used_j(plan, done)
    taken = {
        option.kit: plan.work.team_ids[option.team_index]
        for option in plan.work.options
    }
    return replace(
        lift,
        teams=tuple(
            _team_now(
                lift,
                team,
                zones.get(team.id),
                situation,
                done.get(team.id, ()),
                planned_dark=plan.lift.conditions.night,
            )
            for team in lift.teams
            if team.id not in missing
        ),
        # What a missing team carries is missing too, a spare that it took along with
        # it; what others hold stays in their hands, and has lowered whom they lowered.
        kits=tuple(
            replace(
                kit, team=holder, descent_used_j=kit.descent_used_j + used_j[kit.id]
            )
            for kit in lift.kits
            if (holder := kit.team or taken.get(kit.id)) not in missing
        ),
        supports=tuple(
            replace(support, doubtful=True) if support.id in doubtful else support
            for support in lift.supports
        ),
        hazards=tuple(
            replace(hazard, opens_s=_surely(opens[hazard.id]))
            if hazard.id in opens
            else hazard
            for hazard in lift.hazards
        ),
        organisation=organisation,
    )


def _by_this_light(lift: Lift, situation: Situation) -> Lift:
    """The lift by night where it is dark from now on; what has happened stays so."""
    conditions = lift.conditions
    night = replace(conditions, night=conditions.night or situation.dark)
    dark = by_night(replace(lift, conditions=night))
    if conditions.night or not situation.dark:
        return dark

    def each_later(by_day: Triple) -> Triple:
        return Triple(
            low=_later_s(by_day.low, now_s=situation.now_s),
            likely=_later_s(by_day.likely, now_s=situation.now_s),
            high=_later_s(by_day.high, now_s=situation.now_s),
        )

    secured_s = lift.organisation.order_to_secured_s
    return replace(
        dark,
        teams=tuple(
            replace(team, ready_s=_later_s(by_day.ready_s, now_s=situation.now_s))
            for team, by_day in zip(dark.teams, lift.teams, strict=True)
        ),
        organisation=replace(
            dark.organisation, order_to_secured_s=each_later(secured_s)
        ),
        hazards=tuple(
            replace(
                hazard,
                opens_s=None if by_day.opens_s is None else each_later(by_day.opens_s),
            )
            for hazard, by_day in zip(dark.hazards, lift.hazards, strict=True)
        ),
    )


def _later_s(by_day_s: float, *, now_s: float) -> float:
    """When it comes where it is dark from now on: only what is left takes longer."""
    return by_day_s if by_day_s <= now_s else now_s + NIGHT * (by_day_s - now_s)


def _used_j(plan: Plan, done: Mapping[str, tuple[Rescue, ...]]) -> Mapping[str, float]:
    """Kit -> energy [J] that its descender took up since the order; 0 where none."""
    used_j = {kit.id: 0.0 for kit in plan.lift.kits}
    for zone in plan.assignment.zones:
        for rescue in done.get(zone.team, ()):
            used_j[zone.option.kit] += gear.rescue_energy_j(
                plan.lift, plan.heights, rescue
            )
    return used_j


def _surely(seconds: float) -> Triple:
    return Triple(low=seconds, likely=seconds, high=seconds)


def _team_now(
    lift: Lift,
    team: Team,
    zone: Zone | None,
    situation: Situation,
    done: tuple[Rescue, ...],
    *,
    planned_dark: bool,
) -> Team:
    now_s = situation.now_s
    if done:
        x_m, y_m = _place(lift, done[-1].distance_m)
        free_s = now_s + situation.in_hand_s.get(team.id, 0.0)
    elif zone is None or team.ready_s > now_s:
        return replace(team, ready_s=max(team.ready_s, now_s))
    else:
        support = lift.supports[zone.start_support]
        x_m, y_m = support.x_m, support.y_m
        free_s = max(float(zone.arrival_s), now_s)
        if situation.dark and not planned_dark:
            free_s = _later_s(free_s, now_s=now_s)
    return replace(
        team,
        start_place="on the line",
        start_x_m=x_m,
        start_y_m=y_m,
        ready_s=free_s,
        # Set down: from here on a team that came by vehicle walks.
        travel="foot" if team.travel == "snow vehicle" else team.travel,
        vehicle=None,
        drop_order=None,
    )


def _place(lift: Lift, distance_m: float) -> tuple[float, float]:
    distances = [support.distance_m for support in lift.supports]
    return (
        float(np.interp(distance_m, distances, [s.x_m for s in lift.supports])),
        float(np.interp(distance_m, distances, [s.y_m for s in lift.supports])),
    )


def _heights_now(
    lift: Lift,
    plan: Plan,
    situation: Situation,
    done: Mapping[str, tuple[Rescue, ...]],
) -> Heights:
    """The same heights where only carriers that still hang are in the stop grid.

    Everybody stays in the carrier where the plan counted them: spread anew over fewer
    carriers, people would come and go with the rounding.
    """
    heights = plan.heights
    row = slice(situation.stop_index, situation.stop_index + 1)
    spans = {side: heights.stops.span_index[side][row].copy() for side in SIDES}
    places = {side: heights.stops.distance_m[side][row].copy() for side in SIDES}
    for rescues in done.values():
        for rescue in rescues:
            here = places[rescue.side][0] == rescue.distance_m
            spans[rescue.side][0, here] = -1
            places[rescue.side][0, here] = np.nan
    stops = StopGrid(
        offset_m=heights.stops.offset_m[row],
        distance_m=places,
        span_index=spans,
        rope_height_m={s: heights.stops.rope_height_m[s][row] for s in SIDES},
        seat_height_m={s: heights.stops.seat_height_m[s][row] for s in SIDES},
        people={
            side: timing.stop_people(plan.lift, heights.stops, side)[row]
            for side in SIDES
        },
    )
    beside = doubtful_spans(lift.supports)
    seats = lift.carriers.seats
    return replace(
        heights,
        line=replace(heights.line, supports=lift.supports),
        stops=stops,
        units=tuple(
            replace(
                unit,
                known=unit.known and unit.span_index not in beside,
                reason="doubtful"
                if unit.known and unit.span_index in beside
                else unit.reason,
                # A descender has to last for those who still hang, as they are counted.
                carriers_most=math.ceil(_people_in(stops, unit) / seats),
            )
            for unit in heights.units
        ),
    )


def _people_in(stops: StopGrid, unit: UnitHeights) -> int:
    if stops.people is None:
        message = "the people of the carriers that still hang are not counted"
        raise ValueError(message)
    here = stops.span_index[unit.side][0] == unit.span_index
    return int(stops.people[unit.side][0][here].sum())


def _work_now(
    lift: Lift,
    heights: Heights,
    gates: tuple[UnitGate, ...],
    plan: Plan,
    done: Mapping[str, tuple[Rescue, ...]],
    *,
    at_mean: bool = False,
) -> Work:
    options = gear.options(lift, date=plan.due_day)
    ways_in = access.open_ways(lift, heights.line)
    work = timing.build_work(
        lift,
        heights,
        options,
        gear.find_reaches(lift, options, heights.units, gates=gates),
        gates,
        access.find_routes(lift, heights.line, ways_in=ways_in),
        passages=access.SupportWays(lift=lift, line=heights.line, ways_in=ways_in),
        at_mean=at_mean,
    )
    arrive_s = work.arrive_s.copy()
    ways_into = dict(work.ways_in)
    for zone in plan.assignment.zones:
        if zone.team not in work.team_ids or not done.get(zone.team):
            continue
        team = work.team_ids.index(zone.team)
        for support, there_s in _goes_on_s(
            work,
            heights.stops,
            zone,
            done[zone.team][-1],
            free_s=int(np.ceil(lift.teams[team].ready_s)),
        ).items():
            arrive_s[team, support] = there_s
            ways_into.pop((team, support), None)
    # "Later than allowed" was meant for the way in, which is behind most teams.
    return replace(work, arrive_s=arrive_s, ways_in=ways_into, latest_arrival_s=NEVER_S)


def _goes_on_s(
    work: Work, stops: StopGrid, zone: Zone, last: Rescue, *, free_s: int
) -> Mapping[int, int]:
    """Support -> when a team that goes on as in the plan can start there."""
    span = last.span_index
    near, far = (span, span + 1) if runs_towards_last(zone) else (span + 1, span)
    hangs = {side: bool((stops.span_index[side][0] == span).any()) for side in SIDES}
    if hangs[last.side] or not any(hangs.values()):
        # In the middle of its span, or to cross from an empty one: no way back.
        return {near: free_s}
    own = np.flatnonzero(own_rows(work, zone))
    if not own.size:
        return {}
    # It has done one side and stands at its far end: the other begins at the near one.
    # A zone on both sides counts the change once more: the cautious reading.
    back_s = int(work.walk_back_s[own[0], span] + work.side_change_s[own[0]])
    found = {near: free_s + back_s}
    on_s = free_s + int(work.cross_s[own[0], far])
    if on_s < work.arrive_s[work.option_team[own[0]], far]:
        found[far] = on_s
    return found
