"""Quickest paths through a network, and what they take."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import networkx as nx

from evac.access.network import DRIVING, VEHICLE, Network, Piece
from evac.facts.lift import Travel
from evac.facts.work import NEVER_S
from evac.walking import walking_seconds


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """One way through a network: its pieces and places."""

    pieces: tuple[Piece, ...]
    """In order from the start; between nodes ``k`` and ``k + 1`` lies piece ``k``."""
    nodes: tuple[int, ...]
    """Of the walking layer, one more than pieces."""


def quickest(
    network: Network, *, start: str, mode: str, crosses_released: bool
) -> Mapping[int, Sequence[int]]:
    """Quickest paths from a place to every node that can be reached.

    Parameters
    ----------
    network : Network
    start : str
        Name of the place.
    mode : str
        ``"foot"``, ``"ski"`` or ``"snow vehicle"``.
    crosses_released : bool
        Whether avalanche ground that is released at some time may be crossed; such
        that is never released is never crossed.

    Returns
    -------
    mapping of int to sequence of int
        Node -> nodes of the path to it, the start first; nodes without a way are
        missing.
    """
    return paths_from(
        network,
        place(network, start, mode=mode),
        mode=mode,
        crosses_released=crosses_released,
    )


def place(network: Network, name: str, *, mode: str) -> int:
    """The node of a place, in the driving layer for those who come in a vehicle.

    Parameters
    ----------
    network : Network
    name : str
        A name of ``network.place_node``.
    mode : str
        As for :func:`quickest`.

    Returns
    -------
    int
    """
    node = network.place_node[name]
    return node + DRIVING if mode == VEHICLE else node


def paths_from(
    network: Network, source: int, *, mode: str, crosses_released: bool
) -> Mapping[int, Sequence[int]]:
    """Quickest paths from a node to every node that can be reached.

    Parameters
    ----------
    network : Network
    source : int
        A node, such as :func:`place` gives.
    mode, crosses_released
        As for :func:`quickest`.

    Returns
    -------
    mapping of int to sequence of int
        As of :func:`quickest`; empty where the mode does not come to the node.
    """
    most_s = NEVER_S - 1 if crosses_released else 0.0

    def seconds(_start: int, _end: int, edge: Mapping[str, Piece]) -> float | None:
        piece = edge["piece"]
        return piece.seconds if piece.release_s <= most_s else None

    graph = network.graphs[mode]
    if source not in graph:
        return {}
    paths: Mapping[int, Sequence[int]] = nx.single_source_dijkstra_path(
        graph, source, weight=seconds
    )
    return paths


def driving_leg(nodes: Sequence[int], path: Path) -> tuple[float, int]:
    """Seconds driven on a path, and the node at which its team gets out.

    Parameters
    ----------
    nodes : sequence of int
        Of a path that begins in the driving layer, as :func:`paths_from` gives them.
    path : Path
        The same path, from :func:`path_of`.

    Returns
    -------
    tuple of float, int
        Seconds, and a node of the driving layer.
    """
    driven = [number for number, node in enumerate(nodes) if node >= DRIVING]
    last = driven[-1]
    return sum(piece.seconds for piece in path.pieces[:last]), nodes[last]


def path_of(network: Network, nodes: Sequence[int], *, mode: str) -> Path:
    """The pieces of a path.

    Parameters
    ----------
    network : Network
    nodes : sequence of int
        As :func:`paths_from` gives them.
    mode : str
        The mode that the path was searched for.

    Returns
    -------
    Path
    """
    graph = network.graphs[mode]
    return Path(
        pieces=tuple(graph.edges[a, b]["piece"] for a, b in pairwise(nodes)),
        nodes=tuple(node % DRIVING for node in nodes),
    )


def path_seconds(travel: Travel, pieces: Sequence[Piece]) -> float:
    """Time over some pieces; the walking rule is applied to all that is walked.

    DIN 33466 speaks of a whole way, so its sums are taken before it; Tobler's slope
    is that of each piece.

    Parameters
    ----------
    travel : Travel
        The rule, and the factors on foot and off ways.
    pieces : sequence of Piece
        In any order.

    Returns
    -------
    float
        Seconds, without waiting for avalanche ground.
    """
    seconds = sum(piece.seconds for piece in pieces if not piece.on_foot)
    walked = [piece for piece in pieces if piece.on_foot]
    if travel.walking_rule != "din33466":
        return seconds + sum(piece.seconds for piece in walked)
    for off_way in (False, True):
        part = [piece for piece in walked if piece.off_way is off_way]
        factor = travel.foot_factor * travel.night_factor
        factor *= travel.off_way_factor if off_way else 1.0
        seconds += factor * float(
            walking_seconds(
                travel.walking_rule,
                length_m=sum(piece.length_m for piece in part),
                up_m=sum(piece.up_m for piece in part),
                down_m=sum(piece.down_m for piece in part),
            )
        )
    return seconds


def wait_seconds(travel: Travel, pieces: Sequence[Piece], *, leaves_s: float) -> float:
    """How long a team waits on the way for avalanche ground to be released.

    Parameters
    ----------
    travel : Travel
    pieces : sequence of Piece
        In order from the start.
    leaves_s : float
        Seconds from the order, as the release counts, until the team leaves.

    Returns
    -------
    float
        Seconds, 0 where nothing on the way is waited for.
    """
    wait_s = 0.0
    for number, piece in enumerate(pieces):
        if piece.release_s > 0:
            there_s = leaves_s + path_seconds(travel, pieces[:number]) + wait_s
            wait_s += max(piece.release_s - there_s, 0.0)
    return wait_s


def releases_on(
    travel: Travel, pieces: Sequence[Piece]
) -> tuple[tuple[str, float], ...]:
    """Avalanche ground on a way, in order, and how far before it a team stands.

    Parameters
    ----------
    travel : Travel
    pieces : sequence of Piece
        In order from the start.

    Returns
    -------
    tuple of (str, float)
        Hazard id, and seconds under way, without waiting, to its edge.
    """
    found: dict[str, float] = {}
    for number, piece in enumerate(pieces):
        for name in piece.hazard_ids:
            if name not in found:
                found[name] = path_seconds(travel, pieces[:number])
    return tuple(found.items())
