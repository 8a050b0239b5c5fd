"""From support to support, past spans in which a team does not work."""

from __future__ import annotations

from dataclasses import dataclass

from evac.access.doubts import crossed_off_way
from evac.access.network import AVALANCHE
from evac.access.paths import path_of, path_seconds, quickest, releases_on
from evac.access.routes import WaysIn, open_ways, route_of, support_name
from evac.facts.heights import Line
from evac.facts.lift import Lift
from evac.facts.work import NEVER_S, Passage

SHUT = Passage(seconds=float(NEVER_S), opens_s=0.0, hazard_ids=())


@dataclass(slots=True, kw_only=True)
class SupportWays:
    """The `evac.facts.work.Passages` of a lift; ways are searched only if asked for.

    ``ways_in`` is made anew where it is not given or does not serve every team.
    """

    lift: Lift
    line: Line
    ways_in: WaysIn | None = None

    def __call__(
        self, team: str, from_support: int, to_support: int, *, there_s: float
    ) -> Passage:
        """The quicker of the way round avalanche ground and the way across.

        Parameters
        ----------
        team : str
        from_support, to_support : int
        there_s : float
            From the order until the team may be there at the soonest: the way across
            costs the waiting from then on as well.

        Returns
        -------
        Passage
            By the same rules as the ways in. A team that came by vehicle walks. Ground
            that is never released is never crossed.
        """
        travel = next(item.travel for item in self.lift.teams if item.id == team)
        # In the field the vehicle is gone.
        mode = "ski" if travel == "ski" else "foot"
        grounds = any(hazard.kind == AVALANCHE for hazard in self.lift.hazards)
        found = [
            self._passage(from_support, to_support, mode=mode, crosses=crosses)
            for crosses in ((False, True) if grounds else (False,))
        ]
        # min() keeps the way round among equals.
        return min(found, key=lambda way: way.seconds + max(way.opens_s - there_s, 0.0))

    def _passage(
        self, from_support: int, to_support: int, *, mode: str, crosses: bool
    ) -> Passage:
        ways_in = self._opened()
        ends = (from_support, to_support, mode, crosses)
        if ends not in ways_in.passages:
            ways_in.passages[ends] = self._search(ways_in, *ends)
        return ways_in.passages[ends]

    def _search(
        self,
        ways_in: WaysIn,
        from_support: int,
        to_support: int,
        mode: str,
        crosses: bool,
    ) -> Passage:
        network = ways_in.network
        start = support_name(from_support)
        key = (start, mode, crosses)
        if key not in ways_in.searched:
            ways_in.searched[key] = quickest(
                network, start=start, mode=mode, crosses_released=crosses
            )
        node = network.place_node[support_name(to_support)]
        nodes = ways_in.searched[key].get(node)
        if nodes is None:
            return SHUT
        path = path_of(network, nodes, mode=mode)
        pieces, travel = path.pieces, self.lift.travel
        seconds = path_seconds(travel, pieces)
        route = route_of(network, path, team="", index=to_support, seconds=seconds)
        return Passage(
            seconds=seconds,
            opens_s=max((piece.release_s for piece in pieces), default=0.0),
            hazard_ids=tuple(name for name, _ in releases_on(travel, pieces)),
            crosses=tuple(item.id for item in crossed_off_way(self.lift, route)),
        )

    def _opened(self) -> WaysIn:
        if self.ways_in is None or not self.ways_in.serves(self.lift):
            self.ways_in = open_ways(self.lift, self.line)
        return self.ways_in
