"""The way on foot from every span to its muster point."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import shapely

from evac.access.network import AVALANCHE, Network, build_network
from evac.access.paths import Path, path_of, path_seconds, quickest
from evac.access.routes import DIRECT_M, route_of
from evac.access.strands import weave
from evac.facts.heights import Line, Span
from evac.facts.lift import Lift, Side, Triple
from evac.facts.work import NEVER_S, Route
from evac.walking import walking_seconds

ON_FOOT = "foot"

WALK = Triple(low=0.8, likely=1.0, high=1.5)
"""Quick and slow beside the walking rule's time (common practice, no source)."""


def find_ways(lift: Lift, line: Line) -> tuple[dict[int, Route], dict[int, str]]:
    """How evacuees walk from each span to the muster point soonest met.

    The way begins at the middle of the span; its seconds are those of whichever
    end has the longer way to the same point, where that is longer. On foot, over ways
    that may be walked and off them, as slow as the teams on foot
    (`travel.foot_factor`). Avalanche ground is never crossed where there is a way
    round it; otherwise only such as is released at some time, and nobody is at the
    point before that and the rest of the way (``not_before_s``).

    Parameters
    ----------
    lift : Lift
    line : Line

    Returns
    -------
    tuple of dict
        Span index -> route, with the point's id as ``team`` and the span's index as
        ``support_index``; span index -> muster point id. Spans without a way on foot
        are missing from both; both are empty without a muster point.
    """
    if not lift.muster_points:
        return {}, {}
    network = _network(lift, line)
    routes: dict[int, Route] = {}
    points: dict[int, str] = {}
    for span in line.spans:
        for crosses in (False, True):
            best = _nearest(lift, network, span.index, crosses_released=crosses)
            if best is not None:
                routes[span.index] = _from_far_end(
                    lift, line, network, span, best, crosses_released=crosses
                )
                points[span.index] = best.team
                break
    return routes, points


def _from_far_end(
    lift: Lift,
    line: Line,
    network: Network,
    span: Span,
    route: Route,
    *,
    crosses_released: bool,
) -> Route:
    """The same way, with the seconds of the carrier that has the longest.

    From each end of the span over the ways, or under the line to the middle first,
    whichever is sooner.
    """
    point = network.place_node[point_name(route.team)]
    slowest = route
    for number, at_m in ((span.index, span.start_m), (span.index + 1, span.end_m)):
        seconds = route.seconds + _to_middle_s(lift, line, span, at_m)
        opens = route.not_before_s
        paths = quickest(
            network,
            start=end_name(number),
            mode=ON_FOOT,
            crosses_released=crosses_released,
        )
        if point in paths:
            path = path_of(network, paths[point], mode=ON_FOOT)
            own_s = path_seconds(lift.travel, path.pieces)
            if own_s < seconds:
                seconds, opens = own_s, _not_before_s(lift, network, path)
        if seconds > slowest.seconds:
            slowest = replace(
                slowest,
                seconds=min(seconds, float(NEVER_S)),
                not_before_s=_later(slowest.not_before_s, opens),
            )
    return slowest


def _later(one: Triple | None, other: Triple | None) -> Triple | None:
    if one is None or other is None:
        return one or other
    return one if one.likely >= other.likely else other


def _to_middle_s(lift: Lift, line: Line, span: Span, at_m: float) -> float:
    """Off any way from one end of a span to its middle, under the line [s]."""
    ground, travel = line.ground[Side.ASCENDING], lift.travel
    known = ~np.isnan(ground.elevation_m)
    middle_m = (span.start_m + span.end_m) / 2
    here_m, there_m = np.interp(
        [at_m, middle_m], ground.distance_m[known], ground.elevation_m[known]
    )
    factor = travel.foot_factor * travel.off_way_factor * travel.night_factor
    return factor * float(
        walking_seconds(
            travel.walking_rule,
            length_m=abs(middle_m - at_m),
            up_m=max(there_m - here_m, 0.0),
            down_m=max(here_m - there_m, 0.0),
        )
    )


def span_name(index: int) -> str:
    """The middle of a span, as a network names it."""
    return f"span {index}"


def end_name(index: int) -> str:
    """Where one span ends and the next begins, as a network names it."""
    return f"end {index}"


def point_name(point_id: str) -> str:
    """A muster point, as a network names it."""
    return f"muster {point_id}"


def _network(lift: Lift, line: Line) -> Network:
    ground = line.ground[Side.ASCENDING]
    middles = [(span.start_m + span.end_m) / 2 for span in line.spans]
    ends = [line.spans[0].start_m, *(span.end_m for span in line.spans)]
    x_m = np.interp([*middles, *ends], ground.distance_m, ground.x_m)
    y_m = np.interp([*middles, *ends], ground.distance_m, ground.y_m)
    names = [span_name(k) for k in range(len(middles))]
    names += [end_name(k) for k in range(len(ends))]
    places = {
        name: (float(x), float(y)) for name, x, y in zip(names, x_m, y_m, strict=True)
    }
    places |= {point_name(p.id): (p.x_m, p.y_m) for p in lift.muster_points}
    # Ends have ways of their own and no walk along the line: that would chain walks
    # to more than is offered beside ways.
    walks = [
        (span_name(a), span_name(b))
        for a, b in pairwise(range(len(line.spans)))
        if middles[b] - middles[a] <= DIRECT_M
    ]
    for point in lift.muster_points:
        walks += [
            (name, point_name(point.id))
            for name, x, y in zip(names, x_m, y_m, strict=True)
            if not lift.ways or np.hypot(point.x_m - x, point.y_m - y) <= DIRECT_M
        ]
    web = weave(lift, places, walks=walks)
    return build_network(
        lift, line, web, modes=(ON_FOOT,), checks_steep=bool(lift.ways)
    )


def _nearest(
    lift: Lift, network: Network, span_index: int, *, crosses_released: bool
) -> Route | None:
    paths = quickest(
        network,
        start=span_name(span_index),
        mode=ON_FOOT,
        crosses_released=crosses_released,
    )
    found = []
    for point in lift.muster_points:
        node = network.place_node[point_name(point.id)]
        if node in paths:
            path = path_of(network, paths[node], mode=ON_FOOT)
            seconds = path_seconds(lift.travel, path.pieces)
            opens = _not_before_s(lift, network, path)
            there_s = seconds if opens is None else max(opens.likely, seconds)
            found.append((there_s, seconds, point.id, path, opens))
    if not found:
        return None
    _, seconds, point_id, path, opens = min(found, key=lambda item: item[:2])
    route = route_of(
        network,
        path,
        team=point_id,
        index=span_index,
        seconds=min(seconds, float(NEVER_S)),
    )
    return replace(route, not_before_s=opens)


def _not_before_s(lift: Lift, network: Network, path: Path) -> Triple | None:
    """When anybody can be at the end: the release, then the way from its edge on."""
    nodes = list(path.nodes)
    places = np.column_stack([network.x_m[nodes], network.y_m[nodes]])
    pieces = shapely.linestrings(np.stack([places[:-1], places[1:]], axis=1))
    soonest = []
    for hazard in lift.hazards:
        if hazard.kind != AVALANCHE or hazard.opens_s is None:
            continue
        area = hazard.geometry
        if area.geom_type == "MultiPoint":
            area = area.convex_hull
        hits = np.flatnonzero(shapely.intersects(area, pieces))
        if hits.size:
            rest_s = path_seconds(lift.travel, path.pieces[int(hits[0]) :])
            soonest.append((hazard.opens_s, rest_s))
    if not soonest:
        return None
    return Triple(
        low=max(opens.low + WALK.low * rest_s for opens, rest_s in soonest),
        likely=max(opens.likely + WALK.likely * rest_s for opens, rest_s in soonest),
        high=max(opens.high + WALK.high * rest_s for opens, rest_s in soonest),
    )
