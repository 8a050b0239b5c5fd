"""Random numbers laid out by run and entity, never by order of work."""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import blake2b

import numpy as np
from numpy.typing import NDArray

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


Float32Array = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class CarrierDraws:
    """What is drawn for every carrier; arrays (carriers, runs).

    Carriers count from the drive, ascending side first, so that the same carrier
    sees the same draws whatever the plan or the stop position. ``seat`` decides how
    many sit in it, ``score`` its own time; a case is hard where ``hard`` is below the
    share of hard cases, and the harder the nearer to it. Single precision: seven
    digits of a random number are enough, and memory is what takes time.
    """

    seat: Float32Array
    score: Float32Array
    hard: Float32Array


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
    names = carrier_names(counts)
    shape = (len(names), runs)
    seat, score, hard = (np.empty(shape, dtype=np.float32) for _ in range(3))
    for row, name in enumerate(names):
        stream(seed, f"seats of {name}").random(out=seat[row], dtype=np.float32)
        stream(seed, f"time of {name}").standard_normal(
            out=score[row], dtype=np.float32
        )
        stream(seed, f"hard case of {name}").random(out=hard[row], dtype=np.float32)
    return CarrierDraws(seat=seat, score=score, hard=hard)


def own_factors(
    seed: int, counts: dict[Side, int], runs: int, *, spread: float
) -> Float32Array:
    """A lognormal factor of every carrier's own (carriers, runs)."""
    names = carrier_names(counts)
    found = np.empty((len(names), runs), dtype=np.float32)
    for row, name in enumerate(names):
        stream(seed, f"day of {name} alone").standard_normal(
            out=found[row], dtype=np.float32
        )
    found *= np.float32(spread)
    return np.exp(found, out=found)


def carrier_names(counts: dict[Side, int]) -> list[str]:
    """One name a carrier, in the order of all arrays of carriers."""
    return [f"{side} {place}" for side, most in counts.items() for place in range(most)]
