"""Random numbers laid out by run and entity, never by order of work."""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import blake2b

import numpy as np

from evac.factors import HARD_LEAST_S, HARD_MOST_S, HARD_SHARE
from evac.facts.lift import FloatArray, Side


def stream(seed: int, source: str) -> np.random.Generator:
    """The random numbers of one source: the same for a seed, whoever else draws.

    Parameters
    ----------
    seed : int
        Of the plan, 0 or more.
    source : str
        What the numbers are for, such as ``"carrier ascending 17"``.

    Examples
    --------
    >>> float(stream(1, "day").random()) == float(stream(1, "day").random())
    True
    >>> float(stream(1, "day").random()) == float(stream(1, "stop").random())
    False
    """
    digest = blake2b(source.encode("utf-8"), digest_size=8).digest()
    key = np.array([seed, int.from_bytes(digest, "little")], dtype=np.uint64)
    return np.random.Generator(np.random.Philox(key=key))


def scores(seed: int, source: str, runs: int) -> FloatArray:
    """Standard normal scores (runs,) of one source; a longer run only adds to them."""
    return stream(seed, source).standard_normal(runs)


def shares(seed: int, source: str, runs: int) -> FloatArray:
    """Numbers evenly between 0 and 1 (runs,) of one source."""
    return stream(seed, source).random(runs)


@dataclass(frozen=True, slots=True, kw_only=True)
class CarrierDraws:
    """What is drawn for every carrier; arrays (carriers, runs).

    Carriers count from the drive, ascending side first, so that the same carrier
    sees the same draws whatever the plan or the stop position. ``seat`` decides how
    many sit in it, ``score`` its own time, ``hard_s`` the seconds a hard case adds.
    """

    seat: FloatArray
    score: FloatArray
    hard_s: FloatArray


def draw_carriers(seed: int, counts: dict[Side, int], runs: int) -> CarrierDraws:
    """Draw for every carrier of both sides.

    Parameters
    ----------
    seed : int
        Of the plan.
    counts : dict of Side to int
        The most carriers that can stand on a side.
    runs : int
        Imagined days.
    """
    names = [
        f"{side} {place}" for side, most in counts.items() for place in range(most)
    ]
    seat = np.empty((len(names), runs))
    score = np.empty((len(names), runs))
    hard_s = np.empty((len(names), runs))
    for row, name in enumerate(names):
        stream(seed, f"seats of {name}").random(out=seat[row])
        stream(seed, f"time of {name}").standard_normal(out=score[row])
        stream(seed, f"hard case of {name}").random(out=hard_s[row])
    # One number says both whether a case is hard and how hard.
    hard_s /= HARD_SHARE
    hard_s[:] = np.where(
        hard_s < 1.0, HARD_LEAST_S + (HARD_MOST_S - HARD_LEAST_S) * hard_s, 0.0
    )
    return CarrierDraws(seat=seat, score=score, hard_s=hard_s)
