"""A web of strands as a graph with travel times, one for each mode of travel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import networkx as nx
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evac.access.strands import Web
from evac.facts.heights import Line
from evac.facts.lift import FloatArray, Lift, Side, Travel
from evac.facts.work import NEVER_S
from evac.ground import sample_grid
from evac.walking import walking_seconds

SKI_SLOPE = -0.05
"""Downhill slope from which skis run by themselves (common practice, no source)."""

SKI_FLAT_SLOPE = 0.02
STEEPEST_OFF_WAY_DEG = 40.0
"""Nobody is sent on foot over steeper ground off any way (common practice, no
source)."""

JOIN_M_PER_S = 1.0
AVALANCHE = "avalanche ground"
VEHICLE = "snow vehicle"

DRIVING = 10_000_000
"""Node numbers of the driving layer start here: one graph holds both layers."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One directed piece of a route, with what its time is made of."""

    length_m: float
    """Seen from above."""
    up_m: float
    """Climb in this direction, 0 or more."""
    down_m: float
    """Descent in this direction, 0 or more."""
    seconds: float
    """By the walking rule on this piece, with the foot and off-way factors, or at the
    speed of ski, vehicle or lift; slower by night."""
    on_foot: bool
    """Walked, so that the walking rule counts for it."""
    off_way: bool
    """On no drawn way: a straight walk, or the gap between two ways."""
    way_id: str
    """The drawn way; "" off any."""
    release_s: float
    """From the order until avalanche ground here is released; 0: none here."""
    hazard_ids: tuple[str, ...] = ()
    """That avalanche ground."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """A graph a mode of travel, and where its nodes are."""

    graphs: Mapping[str, nx.DiGraph[int]]
    """Mode of travel -> nodes and directed edges, each with its ``piece``."""
    place_node: Mapping[str, int]
    """Named place -> node of the walking layer."""
    x_m: FloatArray
    y_m: FloatArray
    """Places of the nodes of the walking layer, (nodes,)."""
    travel: Travel
    """By which the times were made."""


def elevations_m(lift: Lift, line: Line, places: FloatArray) -> FloatArray:
    """Ground at places; where the terrain ends, that of the line abreast.

    Parameters
    ----------
    lift : Lift
    line : Line
    places : ndarray, shape (m, 2)
        x and y [m] in the lift's frame.

    Returns
    -------
    ndarray, shape (m,)
        Metres above the sea, in order of the places; never NaN.
    """
    found = np.full(len(places), np.nan)
    if lift.terrain is not None:
        found = sample_grid(lift.terrain, x_m=places[:, 0], y_m=places[:, 1])
    unknown = np.isnan(found)
    if unknown.any():
        found[unknown] = _abreast_m(line, places[unknown])
    return found


def _abreast_m(line: Line, places: FloatArray) -> FloatArray:
    ground = line.ground[Side.ASCENDING]
    known = ~np.isnan(ground.elevation_m)
    start = np.array([ground.x_m[0], ground.y_m[0]])
    run = np.array([ground.x_m[-1], ground.y_m[-1]]) - start
    along = (places - start) @ run / np.hypot(*run) + ground.distance_m[0]
    abreast: FloatArray = np.interp(
        along, ground.distance_m[known], ground.elevation_m[known]
    )
    return abreast


def build_network(
    lift: Lift, line: Line, web: Web, *, modes: Sequence[str], checks_steep: bool
) -> Network:
    """Travel times over every piece of a web, by each mode of travel.

    Parameters
    ----------
    lift : Lift
    line : Line
    web : Web
    modes : sequence of str
        Of ``"foot"``, ``"ski"``, ``"snow vehicle"``.
    checks_steep : bool
        Leave out off-way walks over ground that is too steep to walk.

    Returns
    -------
    Network
        A graph for each of the modes.
    """
    counts = [len(strand.places) for strand in web.strands]
    first = np.concatenate([[0], np.cumsum(counts)]).astype(int)
    places = np.concatenate([strand.places for strand in web.strands])
    height_m = elevations_m(lift, line, places)
    graphs: dict[str, nx.DiGraph[int]] = {mode: nx.DiGraph() for mode in modes}
    releases = _releases(lift, web)
    for number, strand in enumerate(web.strands):
        nodes = np.arange(first[number], first[number + 1])
        run = np.hypot(*np.diff(strand.places, axis=0).T)
        rise = np.diff(height_m[nodes])
        if (
            checks_steep
            and not strand.way_id
            and np.any(_slope_deg(run, rise) > STEEPEST_OFF_WAY_DEG)
        ):
            continue
        for mode, graph in graphs.items():
            _add_strand(graph, lift, web, number, nodes, run, rise, releases, mode)
    place_node = {n: int(first[s] + k) for n, (s, k) in web.place_node.items()}
    if VEHICLE in graphs:
        graphs[VEHICLE].add_nodes_from(n + DRIVING for n in place_node.values())
    for join in web.joins:
        a, b = (int(first[s] + n) for s, n in (join.first, join.second))
        for graph in graphs.values():
            _add_join(graph, a, b, join.length_m)
    for node in list(graphs.get(VEHICLE, ())):
        if node >= DRIVING:
            # Get out and walk on; nobody gets in again on the way.
            _add_join(graphs[VEHICLE], node, node - DRIVING, 0.0, both=False)
    return Network(
        graphs=graphs,
        place_node=place_node,
        x_m=places[:, 0],
        y_m=places[:, 1],
        travel=lift.travel,
    )


def _slope_deg(run_m: FloatArray, rise_m: FloatArray) -> FloatArray:
    # Over less than 5 m the terrain's noise is no slope.
    slope: FloatArray = np.degrees(np.arctan2(np.abs(rise_m), np.maximum(run_m, 5.0)))
    return slope


@dataclass(frozen=True, slots=True, kw_only=True)
class _Release:
    """Avalanche ground on the pieces of a strand: when released, and which."""

    opens_s: FloatArray
    hazard_ids: list[tuple[str, ...]]


def _releases(lift: Lift, web: Web) -> list[_Release]:
    """For every strand, when avalanche ground on each of its pieces is released."""
    grounds = [hazard for hazard in lift.hazards if hazard.kind == AVALANCHE]
    found = []
    for strand in web.strands:
        release = np.zeros(max(len(strand.places) - 1, 0))
        names: list[tuple[str, ...]] = [()] * release.size
        if grounds and release.size:
            ends = np.stack([strand.places[:-1], strand.places[1:]], axis=1)
            pieces = shapely.linestrings(ends)
            for hazard in grounds:
                hit = shapely.intersects(ground_of(hazard.geometry), pieces)
                opens = NEVER_S if hazard.opens_s is None else hazard.opens_s.likely
                release = np.where(hit, np.maximum(release, opens), release)
                for k in np.flatnonzero(hit):
                    names[k] = (*names[k], hazard.id)
        found.append(_Release(opens_s=release, hazard_ids=names))
    return found


def ground_of(geometry: BaseGeometry) -> BaseGeometry:
    """The ground that a hazard lies on.

    Parameters
    ----------
    geometry : shapely geometry
        As drawn in the hazard layer.

    Returns
    -------
    shapely geometry
        The same; of several points the ground between them.
    """
    return geometry.convex_hull if geometry.geom_type == "MultiPoint" else geometry


def _add_strand(
    graph: nx.DiGraph[int],
    lift: Lift,
    web: Web,
    number: int,
    nodes: np.ndarray[tuple[int, ...], np.dtype[np.int64]],
    run_m: FloatArray,
    rise_m: FloatArray,
    releases: Sequence[_Release],
    mode: str,
) -> None:
    strand = web.strands[number]
    for forward in (True,) if strand.one_way else (True, False):
        up_m = np.maximum(rise_m if forward else -rise_m, 0.0)
        down_m = np.maximum(-rise_m if forward else rise_m, 0.0)
        for layer, seconds, on_foot in _layer_seconds(
            lift.travel,
            strand.travel,
            strand.speed_m_per_s,
            mode,
            is_way=bool(strand.way_id),
            run_m=run_m,
            up_m=up_m,
            down_m=down_m,
        ):
            for k in range(run_m.size):
                a, b = int(nodes[k]) + layer, int(nodes[k + 1]) + layer
                piece = Piece(
                    length_m=float(run_m[k]),
                    up_m=float(up_m[k]),
                    down_m=float(down_m[k]),
                    seconds=float(seconds[k]) * lift.travel.night_factor,
                    on_foot=bool(on_foot[k]),
                    off_way=not strand.way_id,
                    way_id=strand.way_id,
                    release_s=float(releases[number].opens_s[k]),
                    hazard_ids=releases[number].hazard_ids[k],
                )
                ends = (a, b) if forward else (b, a)
                graph.add_edge(*ends, piece=piece)


def _layer_seconds(
    travel: Travel,
    allowed: tuple[str, ...],
    speed_m_per_s: float | None,
    mode: str,
    *,
    is_way: bool,
    run_m: FloatArray,
    up_m: FloatArray,
    down_m: FloatArray,
) -> list[tuple[int, FloatArray, FloatArray]]:
    """Seconds of every piece, and which of it is walked, in each layer it is open to.

    A team on ski walks where it cannot ski; a team with a vehicle drives in a layer
    of its own and walks in the common one.
    """
    layers: list[tuple[int, FloatArray, FloatArray]] = []
    all_foot = np.ones(run_m.size)
    no_foot = np.zeros(run_m.size)
    if speed_m_per_s is not None:
        fixed = run_m / speed_m_per_s
        if "foot" in allowed or mode in allowed:
            layers.append((0, fixed, no_foot))
        return layers
    factor = travel.foot_factor * (1.0 if is_way else travel.off_way_factor)
    walked = factor * walking_seconds(
        travel.walking_rule, length_m=run_m, up_m=up_m, down_m=down_m
    )
    if mode == "ski" and "ski" in allowed and is_way:
        slope = (up_m - down_m) / np.maximum(run_m, 1e-9)
        runs, flat = slope <= SKI_SLOPE, slope <= SKI_FLAT_SLOPE
        skied = run_m / np.where(runs, travel.ski_down_m_per_s, travel.ski_flat_m_per_s)
        layers.append((0, np.where(flat, skied, walked), np.where(flat, 0.0, 1.0)))
    elif "foot" in allowed:
        layers.append((0, walked, all_foot))
    if mode == VEHICLE and VEHICLE in allowed:
        speed = travel.vehicle_m_per_s / (1.0 if is_way else travel.off_way_factor)
        layers.append((DRIVING, run_m / speed, no_foot))
    return layers


def _add_join(
    graph: nx.DiGraph[int], a: int, b: int, length_m: float, *, both: bool = True
) -> None:
    piece = Piece(
        length_m=length_m,
        up_m=0.0,
        down_m=0.0,
        seconds=length_m / JOIN_M_PER_S,
        on_foot=False,
        off_way=True,
        way_id="",
        release_s=0.0,
    )
    graph.add_edge(a, b, piece=piece)
    if not both:
        return
    graph.add_edge(b, a, piece=piece)
    # Where a vehicle drives on both sides of the join, it drives over it.
    if a + DRIVING in graph and b + DRIVING in graph:
        graph.add_edge(a + DRIVING, b + DRIVING, piece=piece)
        graph.add_edge(b + DRIVING, a + DRIVING, piece=piece)
