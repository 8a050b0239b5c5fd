"""The assignment as a table of timed items for every stop position."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evac import timing
from evac.clearing import (
    Turn,
    carriers_in_unit,
    runs_towards_last,
    spent_before,
    turns,
)
from evac.facts.heights import BoolArray, Heights, IntArray
from evac.facts.lift import FloatArray, Lift, Side
from evac.facts.work import Assignment, Spread, UnitGate, Work, Zone
from evac.triples import Fitted, fit

SIDES = (Side.ASCENDING, Side.DESCENDING)


@dataclass(frozen=True, slots=True, kw_only=True)
class Items:
    """Everything that is done, in order, for every zone and stop position.

    The items of zone z at stop o are ``begin[z, o] .. begin[z, o + 1] - 1``. An item
    is a carrier (``is_carrier``; ``row`` among all carriers) or the way to and set-up
    of a unit (``row`` among all units). Its distribution is number ``first_fit``;
    carriers have one for every number of people from 0 to ``seats``, in a row.
    """

    begin: IntArray
    row: IntArray
    is_carrier: BoolArray
    first_fit: IntArray
    fitted: Fitted
    seats: int


def carrier_counts(heights: Heights) -> dict[Side, int]:
    """The most carriers that stand on each side at any stop position."""
    return {
        side: int((heights.stops.span_index[side] >= 0).sum(axis=1).max())
        for side in SIDES
    }


def make_items(
    lift: Lift,
    heights: Heights,
    work: Work,
    assignment: Assignment,
    *,
    gates: tuple[UnitGate, ...],
) -> Items:
    """Write every zone out at every stop position, with its distributions.

    Parameters
    ----------
    lift, heights, work, assignment
        Of one chain.
    gates : tuple of UnitGate
        Of `evac.hazards.find_gates`.

    Returns
    -------
    Items
    """
    stops = len(heights.stops.offset_m)
    writer = _Writer(lift=lift, heights=heights, gates=gates)
    begin = np.zeros((len(assignment.zones), stops + 1), dtype=np.int64)
    for number, zone in enumerate(assignment.zones):
        zone_turns = turns(lift, heights, work, zone)
        spreads = writer.spreads(zone)
        for stop in range(stops):
            begin[number, stop] = len(writer.row)
            writer.write(zone, zone_turns, spreads, stop_index=stop)
        begin[number, stops] = len(writer.row)
    return Items(
        begin=begin,
        row=np.array(writer.row, dtype=np.int64),
        is_carrier=np.array(writer.is_carrier, dtype=bool),
        first_fit=np.array(writer.first_fit, dtype=np.int64),
        fitted=fit(
            np.concatenate(writer.low),
            np.concatenate(writer.likely),
            np.concatenate(writer.high),
        ),
        seats=lift.carriers.seats,
    )


class _Writer:
    """Lists that grow while zones and stops are walked through."""

    def __init__(
        self, *, lift: Lift, heights: Heights, gates: tuple[UnitGate, ...]
    ) -> None:
        self.lift, self.heights, self.gates = lift, heights, gates
        self.row: list[int] = []
        self.is_carrier: list[bool] = []
        self.first_fit: list[int] = []
        self.low: list[FloatArray] = [np.empty(0)]
        self.likely: list[FloatArray] = [np.empty(0)]
        self.high: list[FloatArray] = [np.empty(0)]
        self._fits = 0
        self._counts = carrier_counts(heights)

    def spreads(self, zone: Zone) -> dict[Side, Spread]:
        """Times (o, k, people) of every carrier of the zone's sides."""
        stops = self.heights.stops
        people = np.arange(self.lift.carriers.seats + 1)
        return {
            side: timing.carrier_seconds(
                self.lift,
                self.heights,
                self.gates,
                zone.option,
                side=side,
                span_index=stops.span_index[side][:, :, None],
                people=people[None, None, :],
                rope_height_m=stops.rope_height_m[side][:, :, None],
                seat_height_m=stops.seat_height_m[side][:, :, None],
            )
            for side in zone.sides
        }

    def write(
        self,
        zone: Zone,
        zone_turns: tuple[Turn, ...],
        spreads: dict[Side, Spread],
        *,
        stop_index: int,
    ) -> None:
        """Add the items of one zone at one stop position."""
        uphill = runs_towards_last(zone)
        spans = len(self.heights.line.spans)
        for turn in zone_turns:
            side = turn.side
            columns = carriers_in_unit(
                self.heights,
                side=side,
                span_index=turn.span_index,
                stop_index=stop_index,
                uphill=uphill,
            )
            before = spent_before(self.heights, turn, stop_index=stop_index)
            self._add(
                row=SIDES.index(side) * spans + turn.span_index,
                is_carrier=False,
                low=np.array([before.low]),
                likely=np.array([before.likely]),
                high=np.array([before.high]),
            )
            # Once some are cleared, those that still hang are numbered anew.
            on = np.flatnonzero(self.heights.stops.span_index[side][stop_index] >= 0)
            first = 0 if side is Side.ASCENDING else self._counts[Side.ASCENDING]
            for column in columns:
                # Counted from the drive a carrier keeps its number at every stop.
                rank = int(np.searchsorted(on, column))
                place = on.size - 1 - rank if self.lift.drive_at_last else rank
                spread = spreads[side]
                self._add(
                    row=first + place,
                    is_carrier=True,
                    low=spread.low_s[stop_index, column],
                    likely=spread.likely_s[stop_index, column],
                    high=spread.high_s[stop_index, column],
                )

    def _add(
        self,
        *,
        row: int,
        is_carrier: bool,
        low: FloatArray,
        likely: FloatArray,
        high: FloatArray,
    ) -> None:
        self.row.append(row)
        self.is_carrier.append(is_carrier)
        self.first_fit.append(self._fits)
        self.low.append(low)
        self.likely.append(likely)
        self.high.append(high)
        self._fits += len(low)
