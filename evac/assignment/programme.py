"""The exact programme: every way to share the line among the teams, none left out.

A state is (teams used, frontier on the ascending side, frontier on the descending
side): all units before the frontiers are settled. The side that lags is always
extended; where both stand at the same span, the ascending side or both. So every
tiling of the line is built exactly once, whatever the order of the teams, their start
ends and their access times. Identical teams are counted, not told apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evac.assignment.kernels import (
    Int32Array,
    backward,
    forward,
    in_order,
    trace,
)
from evac.assignment.moves import Moves
from evac.facts.heights import IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """The board the programme is played on.

    ``count`` (g,) teams in each group; ``loss`` (2, n) people lost by leaving a unit
    although somebody could take it (0 for a unit that nobody can).
    """

    count: IntArray
    loss: IntArray

    @property
    def stride(self) -> IntArray:
        """Step in the number of a set of used teams for one more team of a group."""
        sizes = np.concatenate(([1], np.cumprod(self.count + 1)[:-1]))
        return sizes.astype(np.int64)

    @property
    def sets(self) -> int:
        """How many sets of used teams there are."""
        return int(np.prod(self.count + 1))


def reach_forward(
    field: Field, moves: Moves, *, excess: int, finish_s: int, slack_s: int = 0
) -> tuple[Int32Array, Int32Array]:
    """Least (excess, finish) with which each state can be reached from the start.

    Parameters
    ----------
    field, moves : Field, Moves
        The board and the zones.
    excess, finish_s : int
        A pair known to be possible; worse states are left out.
    slack_s : int
        States that end so much later than the best known are kept, as ``finish_s``
        allows for already.

    Returns
    -------
    tuple of numpy.ndarray, each of shape (sets, n + 1, n + 1)
        Excess and finish; 2**31 - 1 where the state is not reached.
    """
    n = field.loss.shape[1]
    shape = (field.sets, n + 1, n + 1)
    least = np.full(shape, 2**31 - 1, dtype=np.int32)
    finish = np.full(shape, 2**31 - 1, dtype=np.int32)
    forward(
        field.count,
        field.stride,
        field.loss,
        moves.begin,
        moves.end,
        moves.last,
        moves.excess,
        moves.finish_s,
        excess,
        finish_s,
        slack_s,
        least,
        finish,
    )
    return least, finish


def fixed_order(order: IntArray, loss: IntArray, moves: Moves) -> tuple[int, int]:
    """Best (excess, finish) when teams settle the line in this order only."""
    excess, finish_s = in_order(
        order,
        loss,
        moves.begin,
        moves.end,
        moves.last,
        moves.excess,
        moves.finish_s,
    )
    return int(excess), int(finish_s)


def gentlest_path(
    field: Field, moves: Moves, alive: IntArray
) -> tuple[tuple[int, int, int], IntArray]:
    """Among tilings over live states: least excess, waiting, work, squares.

    Parameters
    ----------
    field, moves : Field, Moves
        The board and the zones that are still allowed.
    alive : numpy.ndarray, shape (sets, n + 1, n + 1)
        Number of each state that may be on the way, -1 for the others.

    Returns
    -------
    tuple
        (waiting, person-work, squares), and the zones as rows of (group, kind, first,
        last); ties go to the lowest group, then the shortest zone.
    """
    size = int(alive.max()) + 1
    labels = np.full((4, size), 2**62, dtype=np.int64)
    arguments = (
        moves.begin,
        moves.end,
        moves.last,
        moves.excess,
        moves.finish_s,
        moves.wait_s,
        moves.work_s,
        alive,
        labels,
    )
    backward(field.count, field.stride, field.loss, *arguments)
    zones = np.empty((int(field.count.sum()), 4), dtype=np.int64)
    used = trace(field.count, field.stride, *arguments, zones)
    start = labels[:, alive[0, 0, 0]]
    return (int(start[1]), int(start[2]), int(start[3])), zones[:used]
