"""The quickest way of every team to every support."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import hypot

from evac.access.network import AVALANCHE, Network, build_network
from evac.access.paths import (
    Path,
    path_of,
    path_seconds,
    quickest,
    releases_on,
    wait_seconds,
)
from evac.access.strands import weave
from evac.facts.heights import Line
from evac.facts.lift import Lift, Team
from evac.facts.work import NEVER_S, Passage, Route

DIRECT_M = 300.0
"""Straight off-way walks up to this length are offered beside the ways."""

UNLOAD_S = 60.0
"""A shared vehicle's stop to set down a team (common practice, no source)."""

_Paths = Mapping[int, Sequence[int]]


@dataclass(frozen=True, slots=True, kw_only=True)
class WaysIn:
    """The ways of a lift, made ready once for all its teams and their changes.

    ``searched`` keeps every search that was made: (start, mode of travel, whether
    released avalanche ground is crossed) -> quickest paths to every node. ``found``
    keeps the routes of a team: (name, start, mode, time lost, time of leaving).
    ``passages`` keeps ways between supports: (from, to, mode, as above).
    """

    network: Network
    searched: dict[tuple[str, str, bool], _Paths] = field(default_factory=dict)
    found: dict[tuple[str, str, str, float, float], tuple[Route, ...]] = field(
        default_factory=dict
    )
    passages: dict[tuple[int, int, str, bool], Passage] = field(default_factory=dict)

    def serves(self, lift: Lift) -> bool:
        """Whether every team of a lift starts at a known place, by a known mode."""
        return all(
            start_name(team) in self.network.place_node
            and team.travel in self.network.graphs
            for team in lift.teams
        )


def open_ways(lift: Lift, line: Line) -> WaysIn:
    """Make the ways of a lift ready, for `find_routes` and whoever asks again."""
    return WaysIn(network=team_network(lift, line))


def find_routes(
    lift: Lift, line: Line, *, ways_in: WaysIn | None = None
) -> tuple[Route, ...]:
    """How each team gets to each support, and how long it takes.

    Over the ways of the access layer, by whoever may use them, and off any way on
    foot for the first and last metres and between neighbouring supports. A team on
    ski walks where it cannot ski; one in a vehicle gets out where the way ends for
    it. Teams that share a vehicle leave together, when the last is ready. Avalanche
    ground is crossed only after its release: the team goes round, or waits at its
    edge, whichever is sooner.

    Parameters
    ----------
    lift : Lift
    line : Line
    ways_in : WaysIn, optional
        Of a lift with the same supports, ways and hazards, whose teams start at these
        places; made anew where not given or where it does not serve every team.

    Returns
    -------
    tuple of Route
        Team by team, each in order of supports. ``seconds`` counts from the team's
        being ready; ``NEVER_S`` where there is no way. Without any way in the folder:
        straight lines on foot, and :func:`evac.access.doubts` says so.

    Notes
    -----
    The path is the quickest with the walking rule applied piece by piece (pieces of
    20 m at most); the time is the rule's for the whole path.
    """
    if ways_in is None or not ways_in.serves(lift):
        ways_in = open_ways(lift, line)
    routes: list[Route] = []
    for team in lift.teams:
        lost_s = lost_seconds(lift, team)
        key = (team.id, start_name(team), team.travel, lost_s, team.ready_s + lost_s)
        if key not in ways_in.found:
            finders = _paths(lift, ways_in, team)
            ways_in.found[key] = tuple(
                _team_routes(lift, ways_in.network, team, finders)
            )
        routes += ways_in.found[key]
    return tuple(routes)


def start_name(team: Team) -> str:
    """The place a team starts from, as a network names it: one name a place."""
    return f"start {team.start_x_m:.2f} {team.start_y_m:.2f}"


def support_name(index: int) -> str:
    """A support, as a network names it."""
    return f"support {index}"


def team_network(lift: Lift, line: Line) -> Network:
    """The network that teams come in by."""
    supports = lift.supports
    starts = {start_name(t): (t.start_x_m, t.start_y_m) for t in lift.teams}
    places = starts | {support_name(k): (s.x_m, s.y_m) for k, s in enumerate(supports)}
    walks = [
        (support_name(k), support_name(k + 1))
        for k, (a, b) in enumerate(pairwise(supports))
        if not lift.ways or hypot(b.x_m - a.x_m, b.y_m - a.y_m) <= DIRECT_M
    ]
    for name, (x_m, y_m) in starts.items():
        walks += [
            (name, support_name(k))
            for k, support in enumerate(supports)
            if not lift.ways or hypot(support.x_m - x_m, support.y_m - y_m) <= DIRECT_M
        ]
    web = weave(
        lift,
        places,
        walks=walks,
        vehicle_places=list(starts),
    )
    # On foot as well: a team that came by vehicle walks on from zone to zone.
    modes = dict.fromkeys(("foot", *(team.travel for team in lift.teams)))
    return build_network(
        lift, line, web, modes=tuple(modes), checks_steep=bool(lift.ways)
    )


def lost_seconds(lift: Lift, team: Team) -> float:
    """What a shared vehicle costs a team beside the drive: waiting, others' stops."""
    sharing = sharers(lift, team)
    leaves_s = max(other.ready_s for other in sharing)
    return leaves_s - team.ready_s + sharing.index(team) * UNLOAD_S


def sharers(lift: Lift, team: Team) -> list[Team]:
    """The teams in one vehicle, in the order in which they are set down."""
    if team.vehicle is None or team.travel != "snow vehicle":
        return [team]
    sharing = [
        other
        for other in lift.teams
        if other.vehicle == team.vehicle
        and other.travel == team.travel
        and other.start_place == team.start_place
    ]
    last = len(sharing)
    return sorted(
        sharing,
        key=lambda other: last if other.drop_order is None else other.drop_order,
    )


def _paths(lift: Lift, ways_in: WaysIn, team: Team) -> tuple[_Paths, ...]:
    """Quickest paths round avalanche ground, and through what is released."""
    start, mode = start_name(team), team.travel
    grounds = any(hazard.kind == AVALANCHE for hazard in lift.hazards)
    found = []
    for crosses in (False, True) if grounds else (False,):
        key = (start, mode, crosses)
        if key not in ways_in.searched:
            ways_in.searched[key] = quickest(
                ways_in.network, start=start, mode=mode, crosses_released=crosses
            )
        found.append(ways_in.searched[key])
    return tuple(found)


def _team_routes(
    lift: Lift, network: Network, team: Team, finders: tuple[_Paths, ...]
) -> list[Route]:
    mode = team.travel
    lost_s = lost_seconds(lift, team)
    leaves_s = team.ready_s + lost_s
    routes = []
    for index in range(len(lift.supports)):
        node = network.place_node[support_name(index)]
        found: list[tuple[float, float, Path]] = []
        for paths in finders:
            if node in paths:
                path = path_of(network, paths[node], mode=mode)
                wait_s = wait_seconds(lift.travel, path.pieces, leaves_s=leaves_s)
                seconds = path_seconds(lift.travel, path.pieces) + wait_s
                found.append((seconds, wait_s, path))
        # min() keeps the way round among equals.
        best = min(found, key=lambda item: item[0], default=None)
        route = route_of(
            network,
            best[2] if best else None,
            team=team.id,
            index=index,
            seconds=best[0] + lost_s if best else float(NEVER_S),
        )
        if best is not None:
            route = replace(
                route,
                wait_s=best[1],
                releases=releases_on(lift.travel, best[2].pieces),
            )
        routes.append(route)
    return routes


def route_of(
    network: Network, path: Path | None, *, team: str, index: int, seconds: float
) -> Route:
    """A path as a fact; None gives a route that never arrives."""
    pieces = path.pieces if path else ()
    nodes = _without_repeats(network, path.nodes if path else ())
    way_ids: list[str] = []
    for piece in pieces:
        if piece.way_id and piece.way_id not in way_ids[-1:]:
            way_ids.append(piece.way_id)
    return Route(
        team=team,
        support_index=index,
        seconds=seconds,
        length_m=sum(piece.length_m for piece in pieces),
        climb_m=sum(piece.up_m for piece in pieces),
        x_m=tuple(float(network.x_m[node]) for node in nodes),
        y_m=tuple(float(network.y_m[node]) for node in nodes),
        way_ids=tuple(way_ids),
    )


def _without_repeats(network: Network, nodes: Sequence[int]) -> list[int]:
    kept: list[int] = []
    for node in nodes:
        if kept:
            last = kept[-1]
            east_m = network.x_m[node] - network.x_m[last]
            north_m = network.y_m[node] - network.y_m[last]
            if hypot(east_m, north_m) < 0.01:
                continue
        kept.append(node)
    return kept
