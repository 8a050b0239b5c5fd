"""Between the zones: who picks off a passenger where, what a shared vehicle can do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import permutations
from math import factorial

from evac.access.network import Network
from evac.access.paths import driving_leg, path_of, path_seconds, paths_from, place
from evac.access.routes import (
    UNLOAD_S,
    WaysIn,
    sharers,
    start_name,
    support_name,
    team_network,
)
from evac.facts.finding import Finding, Severity
from evac.facts.heights import Line
from evac.facts.lift import Lift, Side, Team
from evac.facts.work import (
    NEVER_S,
    Assignment,
    Option,
    PickOff,
    Route,
    Work,
    Zone,
)
from evac.gear import technique_of

SIDES = (Side.ASCENDING, Side.DESCENDING)
ON_FOOT = "foot"
MOST_ORDERS = 720
DETOUR_S = 60.0
"""A vehicle later than planned by less than this is not worth a finding."""


def find_pickoffs(
    lift: Lift,
    line: Line,
    work: Work,
    assignment: Assignment,
    routes: Sequence[Route],
    *,
    ways_in: WaysIn | None = None,
) -> tuple[PickOff, ...]:
    """For every zone, the team that soonest picks off a passenger who cannot help.

    A team can if its technique serves an incapacitated passenger and reaches every
    unit of the zone. The zone's own team is there already. Another team comes from
    the far end of its own zone, on foot or ski; a reserve team from its start place.
    It must be at the zone's farthest span within `organisation.pickoff_s`, called as
    soon as work in the zone begins: what it is not ready by then, or has not reached
    its own zone, counts too.

    Parameters
    ----------
    lift, line
        Of one chain.
    work : Work
    assignment : Assignment
    routes : sequence of Route
        From :func:`evac.access.find_routes`.
    ways_in : WaysIn, optional
        Of the same lift, so that its ways need not be made ready again.

    Returns
    -------
    tuple of PickOff
        In order of ``assignment.zones``.
    """
    able = [
        option
        for option in work.options
        if technique_of(lift, option.technique).incapacitated
    ]
    between = _Between(
        lift=lift, line=line, network=None if ways_in is None else ways_in.network
    )
    found = []
    for zone in assignment.zones:
        fit = [option for option in able if _serves(work, option, zone)]
        own = next((o for o in fit if o.team == zone.team), None)
        if own is not None:
            found.append(_pickoff(lift, zone, own, 0.0))
            continue
        best: tuple[float, Option | None] = (float(NEVER_S), None)
        for option in fit:
            seconds = _coming_s(between, assignment, routes, option, zone)
            if seconds < best[0]:
                best = (seconds, option)
        found.append(_pickoff(lift, zone, best[1], best[0]))
    return tuple(found)


def pickoff_doubts(
    lift: Lift, line: Line, pickoffs: Sequence[PickOff], assignment: Assignment
) -> tuple[Finding, ...]:
    """Every zone where nobody picks off in time, by name; one finding if all."""
    if pickoffs and all(pickoff.team is None for pickoff in pickoffs):
        return (Finding(key="access.pickoff_none", severity=Severity.WARN),)
    findings = []
    for zone, pickoff in zip(assignment.zones, pickoffs, strict=True):
        if pickoff.in_time:
            continue
        values: dict[str, str | float | int] = {
            "first": line.spans[zone.first_span].start_support,
            "last": line.spans[zone.last_span].end_support,
            "within_s": lift.organisation.pickoff_s,
        }
        key = "access.pickoff_nobody"
        if pickoff.team is not None:
            key = "access.pickoff_late"
            values |= {"team": pickoff.team, "arrival_s": pickoff.seconds}
        findings.append(
            Finding(key=key, severity=Severity.WARN, where=zone.team, values=values)
        )
    return tuple(findings)


def vehicle_doubts(
    lift: Lift,
    line: Line,
    assignment: Assignment,
    *,
    ways_in: WaysIn | None = None,
) -> tuple[Finding, ...]:
    """Vehicles that several teams with a zone share, and who comes later for it.

    A team's arrival is planned as if the vehicle drove to its zone directly, with a
    stop for every team set down before. Here the vehicle drives from zone to zone in
    the stated order; all other orders are tried where there are at most 720.
    """
    zones = {zone.team: zone for zone in assignment.zones}
    findings: list[Finding] = []
    for vehicle in dict.fromkeys(t.vehicle for t in lift.teams if t.vehicle):
        first = next(team for team in lift.teams if team.vehicle == vehicle)
        aboard = [team for team in sharers(lift, first) if team.id in zones]
        if len(aboard) > 1:
            findings.append(
                Finding(
                    key="access.vehicle_shared",
                    severity=Severity.WARN,
                    where=vehicle,
                    values={"teams": ", ".join(team.id for team in aboard)},
                )
            )
            network = ways_in.network if ways_in else team_network(lift, line)
            findings += _round_doubts(lift, network, aboard, zones)
    return tuple(findings)


def _round_doubts(
    lift: Lift, network: Network, aboard: Sequence[Team], zones: Mapping[str, Zone]
) -> list[Finding]:
    trip = _Trip(lift=lift, network=network, zones=zones)
    later = trip.delays_s(aboard)
    worst_s = max(later)
    if worst_s <= DETOUR_S:
        return []
    vehicle = aboard[0].vehicle or ""
    findings = [
        Finding(
            key="access.vehicle_detour",
            severity=Severity.WARN,
            where=vehicle,
            values={"team": team.id, "later_s": later_s},
        )
        for team, later_s in zip(aboard, later, strict=True)
        if later_s > DETOUR_S
    ]
    if factorial(len(aboard)) > MOST_ORDERS:
        return findings
    # min() keeps the stated order, which comes first, among equals.
    best = min(permutations(aboard), key=lambda order: max(trip.delays_s(order)))
    best_s = max(trip.delays_s(best))
    if best_s < worst_s - DETOUR_S:
        findings.append(
            Finding(
                key="access.vehicle_order",
                severity=Severity.NOTE,
                where=vehicle,
                values={
                    "teams": ", ".join(team.id for team in best),
                    "later_s": max(best_s, 0.0),
                },
            )
        )
    return findings


@dataclass(slots=True, kw_only=True)
class _Trip:
    """A vehicle's round from zone to zone; each search is made once."""

    lift: Lift
    network: Network
    zones: Mapping[str, Zone]
    searched: dict[int, Mapping[int, Sequence[int]]] = field(default_factory=dict)

    def delays_s(self, order: Sequence[Team]) -> list[float]:
        """How much later than planned each team arrives, set down in this order."""
        mode = order[0].travel
        node = place(self.network, start_name(order[0]), mode=mode)
        clock_s = max(team.ready_s for team in sharers(self.lift, order[0]))
        later = []
        for team in order:
            zone = self.zones[team.id]
            target = self.network.place_node[support_name(zone.start_support)]
            nodes = self._from(node, mode).get(target)
            if nodes is None:
                later.append(float(NEVER_S))
                continue
            path = path_of(self.network, nodes, mode=mode)
            drive_s, node = driving_leg(nodes, path)
            clock_s += drive_s
            walk_s = path_seconds(self.lift.travel, path.pieces) - drive_s
            later.append(clock_s + walk_s - zone.arrival_s)
            clock_s += UNLOAD_S
        return later

    def _from(self, node: int, mode: str) -> Mapping[int, Sequence[int]]:
        if node not in self.searched:
            self.searched[node] = paths_from(
                self.network, node, mode=mode, crosses_released=True
            )
        return self.searched[node]


def _serves(work: Work, option: Option, zone: Zone) -> bool:
    spans = slice(zone.first_span, zone.last_span + 1)
    rows = [SIDES.index(side) for side in zone.sides]
    number = work.options.index(option)
    planned = work.planned[rows, spans]
    return bool((work.valid[number][rows, spans] | ~planned).all() and planned.any())


def _pickoff(lift: Lift, zone: Zone, option: Option | None, seconds: float) -> PickOff:
    return PickOff(
        zone_team=zone.team,
        team=option.team if option else None,
        kit=option.kit if option else None,
        technique=option.technique if option else None,
        seconds=seconds,
        in_time=option is not None and seconds <= lift.organisation.pickoff_s,
    )


@dataclass(slots=True, kw_only=True)
class _Between:
    """Travel times between supports, each search made once and only if asked for."""

    lift: Lift
    line: Line
    network: Network | None = None
    times: dict[tuple[int, str], list[float]] = field(default_factory=dict)

    def seconds_from(self, support: int, *, mode: str) -> list[float]:
        """Seconds from one support to every support."""
        key = (support, mode)
        if key not in self.times:
            if self.network is None:
                self.network = team_network(self.lift, self.line)
            self.times[key] = _times(self.lift, self.network, support, mode=mode)
        return self.times[key]


def _times(lift: Lift, network: Network, support: int, *, mode: str) -> list[float]:
    source = network.place_node[support_name(support)]
    paths = paths_from(network, source, mode=mode, crosses_released=False)
    times = []
    for index in range(len(lift.supports)):
        node = network.place_node[support_name(index)]
        if node not in paths:
            times.append(float(NEVER_S))
            continue
        path = path_of(network, paths[node], mode=mode)
        times.append(path_seconds(lift.travel, path.pieces))
    return times


def _coming_s(
    between: _Between,
    assignment: Assignment,
    routes: Sequence[Route],
    option: Option,
    zone: Zone,
) -> float:
    """From the first work in a zone until a team from elsewhere is at its far end."""
    spans = range(zone.first_span, zone.last_span + 1)
    own = next((z for z in assignment.zones if z.team == option.team), None)
    team = between.lift.teams[option.team_index]
    if own is None:
        arrive = {r.support_index: r.seconds for r in routes if r.team == option.team}
        way_s = max(min(arrive[span], arrive[span + 1]) for span in spans)
        return way_s + max(team.ready_s - zone.start_s, 0.0)
    # In the field the vehicle is gone: its team walks.
    mode = "ski" if team.travel == "ski" else ON_FOOT
    worst = 0.0
    for support in (own.first_span, own.last_span + 1):
        times = between.seconds_from(support, mode=mode)
        worst = max(worst, *(min(times[span], times[span + 1]) for span in spans))
    return worst + max(float(own.arrival_s - zone.start_s), 0.0)
