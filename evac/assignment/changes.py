"""Single changes to a lift that may help: each as families of rising amount."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

from evac.assignment.costs import units_in_order
from evac.facts.heights import Heights, UnitHeights
from evac.facts.lift import Kit, Lift, Team, Technique
from evac.facts.work import Assignment, Work
from evac.gear.approval import is_approved
from evac.gear.choices import OUTSIDE_HELP, why_not
from evac.gear.reach import HAND_THROW_M, unit_rope_needed_m

Value = str | float | int

_STEP_M = 5.0
"""Ropes are bought, and named on sheets, in lengths of five metres."""
_STEP_S = 300.0
_MOST_CUT = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One change: what it is called, how much it is, and how to make it."""

    kind: str
    """A words key below ``remedy.``."""
    values: Mapping[str, Value]
    amount: float
    """How much of its kind, for ranking where no cost is known."""
    cost: float | None
    apply: Callable[[Lift], Lift]
    cut_m: float | None = None
    """Distance at which a span is to be cut in two [m]."""


Family = tuple[Change, ...]
"""The same change in rising amounts; the last helps at least as much as the others."""


def families(
    lift: Lift,
    heights: Heights,
    work: Work,
    assignment: Assignment,
    *,
    unreached: Iterable[UnitHeights],
) -> list[Family]:
    """Single changes worth trying, the cheapest to arrange first.

    Parameters
    ----------
    lift, heights, work, assignment
        As planned.
    unreached : iterable of UnitHeights
        Units that no kit reaches. Where there are none the lengths needed anywhere
        are tried, as a longer kit may also let a team help elsewhere.
    """
    beyond = [unit for unit in unreached if unit.known]
    units = beyond or [unit for unit in heights.units if unit.known]
    found: list[Family] = []
    found += _other_ends(lift)
    found += _kits(
        lift, units, planned={(option.team, option.kit) for option in work.options}
    )
    found += _trainings(lift)
    found += _more_teams(lift)
    if not beyond:
        found += _sooner(lift, assignment)
    found += _halves(heights, work, assignment, beyond)
    return [family for family in found if family]


def least_kit(lift: Lift, unit: UnitHeights) -> tuple[Technique, float] | None:
    """The technique that needs the shortest rope in a unit, with that length [m].

    The necessary bound: without at least this no kit helps there. None where no
    technique of the folder may be used on these carriers at all.
    """
    able = [item for item in lift.techniques if is_usable(lift, item)]
    if not able or not unit.known:
        return None
    best = min(able, key=lambda item: unit_rope_needed_m(lift, item, unit))
    return best, unit_rope_needed_m(lift, best, unit)


def is_usable(lift: Lift, technique: Technique) -> bool:
    """Whether a trained team could ever plan with a technique on this lift."""
    return (
        technique.kind != OUTSIDE_HELP
        and is_approved(technique.approval)
        and lift.carriers.type in technique.carrier_types
        and technique.most_seat_height_m is None
    )


def _other_ends(lift: Lift) -> list[Family]:
    """Each team begins at the other end of its zone, where its technique allows it."""
    downhill = {item.id for item in lift.techniques if item.downhill_only}
    found: list[Family] = []
    for team in lift.teams:
        if team.start_upper and downhill & set(team.techniques):
            continue
        found.append(
            (
                Change(
                    kind="begin_low" if team.start_upper else "begin_high",
                    values={"team": team.id},
                    amount=0.0,
                    cost=None,
                    apply=_team_change(team.id, start_upper=not team.start_upper),
                ),
            )
        )
    return found


def _kits(
    lift: Lift, units: list[UnitHeights], *, planned: set[tuple[str, str]]
) -> list[Family]:
    """A longer kit for each team and technique it may work with.

    Longer than what is planned with: a kit overdue or retired is no rope in hand. A
    spare counts for the team that takes it.
    """
    found: list[Family] = []
    for team in lift.teams:
        for technique in lift.techniques:
            if not is_usable(lift, technique) or why_not(lift, team, technique):
                continue
            have = [
                kit
                for kit in lift.kits
                if (team.id, kit.id) in planned and kit.technique == technique.id
            ]
            found.append(_lengths(lift, team, technique, units, have))
    return found


def _lengths(
    lift: Lift,
    team: Team,
    technique: Technique,
    units: list[UnitHeights],
    have: list[Kit],
) -> Family:
    needs: dict[float, float] = {}
    for unit in units:
        needed_m = unit_rope_needed_m(lift, technique, unit)
        if not math.isfinite(needed_m):
            continue
        length_m = math.ceil(needed_m / _STEP_M - 1e-9) * _STEP_M
        throw_m = unit.rope_greatest_m + unit.margin_m
        needs[length_m] = max(needs.get(length_m, 0.0), throw_m)
    own_m = max((kit.rope_length_m for kit in have), default=0.0)
    own_throw_m = max((kit.throw_height_m for kit in have), default=0.0)
    family: list[Change] = []
    throw_m = 0.0
    for length_m in sorted(needs):
        throw_m = max(throw_m, math.ceil(needs[length_m]))
        thrown = technique.needs_line_over_rope
        if length_m <= own_m and (not thrown or throw_m <= own_throw_m):
            continue
        family.append(_kit_change(lift, team, technique, length_m, throw_m))
    return tuple(family)


def _kit_change(
    lift: Lift, team: Team, technique: Technique, length_m: float, throw_m: float
) -> Change:
    alike = [kit for kit in lift.kits if kit.technique == technique.id]
    thrown = technique.needs_line_over_rope
    kit = Kit(
        id=f"new {technique.id} {length_m:.0f} m ({team.id})",
        team=team.id,
        technique=technique.id,
        rope_length_m=length_m,
        throw_height_m=throw_m if thrown else 0.0,
        launcher=thrown and throw_m > HAND_THROW_M,
        # A new descender of the class that the operator already has.
        descent_energy_j=alike[0].descent_energy_j if alike else None,
        descent_used_j=0.0,
        rated_least_kg=alike[0].rated_least_kg if alike else None,
        rated_most_kg=alike[0].rated_most_kg if alike else None,
        inspection_due=None,
        retire_on=None,
        stored_at=team.start_place,
    )
    values: dict[str, Value] = {
        "team": team.id,
        "technique": technique.id,
        "rope_length_m": length_m,
    }
    if thrown:
        values["throw_height_m"] = throw_m
    return Change(
        kind="kit_thrown" if thrown else "kit",
        values=values,
        amount=length_m,
        cost=None,
        apply=lambda before: replace(before, kits=(*before.kits, kit)),
    )


def _trainings(lift: Lift) -> list[Family]:
    """A technique a team lacks, where it has a kit for it or may take a spare."""
    found: list[Family] = []
    for team in lift.teams:
        for technique in lift.techniques:
            kits = [
                kit
                for kit in lift.kits
                if kit.technique == technique.id and kit.team in (team.id, None)
            ]
            trained = replace(team, techniques=(*team.techniques, technique.id))
            if (
                technique.id in team.techniques
                or not kits
                or why_not(lift, trained, technique)
            ):
                continue
            change = Change(
                kind="training",
                values={"team": team.id, "technique": technique.id},
                amount=1.0,
                cost=None,
                apply=_team_change(team.id, techniques=trained.techniques),
            )
            found.append((change,))
    return found


def _more_teams(lift: Lift) -> list[Family]:
    """One more team like the best-equipped one of each start place, on its own way."""
    best: dict[str, Team] = {}
    for team in lift.teams:
        known = best.get(team.start_place)
        if known is None or len(team.techniques) > len(known.techniques):
            best[team.start_place] = team
    found: list[Family] = []
    for place, team in best.items():
        name = f"{team.id} (2)"
        more = replace(team, id=name, vehicle=None, drop_order=None)
        kits = tuple(
            replace(kit, id=f"{kit.id} (2)", team=name, descent_used_j=0.0)
            for kit in lift.kits
            if kit.team == team.id
        )
        change = Change(
            kind="team",
            values={"team": team.id, "place": place},
            amount=float(team.crew),
            cost=team.cost,
            apply=_add_team(more, kits),
        )
        found.append((change,))
    return found


def _halves(
    heights: Heights, work: Work, assignment: Assignment, beyond: list[UnitHeights]
) -> list[Family]:
    """Spans cut in the middle: those out of reach, else the longest that bind."""
    spans = heights.line.spans
    if beyond:
        cut = sorted({unit.span_index for unit in beyond})
    else:
        binding = {
            span
            for zone in assignment.zones
            if zone.team in assignment.binding_teams
            for _, span in units_in_order(work, zone)
        }
        cut = sorted(binding, key=lambda k: spans[k].start_m - spans[k].end_m)
    found: list[Family] = []
    for span in cut[:_MOST_CUT]:
        at_m = round((spans[span].start_m + spans[span].end_m) / 2)
        change = Change(
            kind="halved",
            values={"span": spans[span].id, "at_m": at_m},
            amount=spans[span].end_m - spans[span].start_m,
            cost=None,
            apply=lambda lift: lift,
            cut_m=float(at_m),
        )
        found.append((change,))
    return found


def _sooner(lift: Lift, assignment: Assignment) -> list[Family]:
    """Teams that finish last ready sooner, and the line secured sooner."""
    found: list[Family] = []
    for team in lift.teams:
        if team.id not in assignment.binding_teams:
            continue
        steps = int(team.ready_s // _STEP_S)
        found.append(
            tuple(
                Change(
                    kind="sooner",
                    values={"team": team.id, "earlier_min": step * _STEP_S / 60},
                    amount=step * _STEP_S,
                    cost=None,
                    apply=_team_change(team.id, ready_s=team.ready_s - step * _STEP_S),
                )
                for step in range(1, steps + 1)
            )
        )
    return found


def _team_change(team_id: str, **changes: object) -> Callable[[Lift], Lift]:
    def apply(lift: Lift) -> Lift:
        teams = tuple(
            replace(team, **changes)  # type: ignore[arg-type]  # fields of Team
            if team.id == team_id
            else team
            for team in lift.teams
        )
        return replace(lift, teams=teams)

    return apply


def _add_team(team: Team, kits: tuple[Kit, ...]) -> Callable[[Lift], Lift]:
    return lambda lift: replace(
        lift, teams=(*lift.teams, team), kits=(*lift.kits, *kits)
    )
