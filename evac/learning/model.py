"""One step's times as log-normal, teams and days pooled; arrays only."""

from __future__ import annotations

from dataclasses import dataclass
from math import erfc, log, pi, sqrt

import numpy as np

from evac.facts.heights import BoolArray, IntArray
from evac.facts.lift import FloatArray

_TEAM_SPREAD = 0.4
_OWN_SPREAD = 0.4
"""Log standard deviations of what is known beforehand of the two spreads."""

_FAR = 20.0
"""Beyond so many deviations the normal tail is taken from its series."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """What is known of one step before any record, of natural logarithms of seconds.

    ``middle`` and ``middle_sd``: the typical time in real use and how well it is known.
    ``own_sd``: one repetition about its team's typical time. ``team_sd``, ``day_sd``:
    teams and days about each other; the day's is fixed. ``drill``, ``drill_sd``: log
    of the drill-to-real factor.
    """

    middle: float
    middle_sd: float
    own_sd: float
    team_sd: float
    day_sd: float
    drill: float
    drill_sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """Records of one step; arrays (n,).

    ``value`` is the log of seconds; where ``stopped`` the time was longer than that.
    ``team`` and ``day`` are numbers from 0.
    """

    value: FloatArray
    stopped: BoolArray
    drill: BoolArray
    team: IntArray
    day: IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixture:
    """A mixture of normal distributions; arrays (c,)."""

    weight: FloatArray
    mean: FloatArray
    sd: FloatArray

    def quantile(self, share: float) -> float:
        """The value below which ``share`` of the mixture lies."""
        low = float(np.min(self.mean - 9.0 * self.sd))
        high = float(np.max(self.mean + 9.0 * self.sd))
        for _ in range(60):
            middle = (low + high) / 2.0
            above = _tail((middle - self.mean) / self.sd)
            if 1.0 - float(self.weight @ above) < share:
                low = middle
            else:
                high = middle
        return (low + high) / 2.0

    def moments(self) -> tuple[float, float]:
        """Mean and variance."""
        mean = float(self.weight @ self.mean)
        square = float(self.weight @ (self.sd**2 + self.mean**2))
        return mean, max(square - mean**2, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Posterior:
    """What is known of one step after the records, of logarithms of seconds.

    ``typical`` in real use; ``next_time`` of one repetition by an average team on an
    average day; ``teams``: each team against the average one.
    """

    typical: Mixture
    next_time: Mixture
    teams: tuple[Mixture, ...]


def update(prior: Prior, seen: Seen) -> Posterior:
    r"""Learn one step from its records.

    Parameters
    ----------
    prior : Prior
    seen : Seen
        At least one record.

    Returns
    -------
    Posterior

    Notes
    -----
    :math:`y = \mu - \phi\,[\text{drill}] + b_{team} + d_{day} + e`, all normal: typical
    time, drill-to-real factor, team, day (teams share a day), repetition. Teams are
    pooled by their common spread: a team with few records stays near the others. A
    record that was stopped enters by the chance that the time is longer than it.

    For given spreads of repetition and team the answer is exact where no record was
    stopped, else the normal distribution at the mode (Laplace's approximation; the
    density is log-concave, so there is one mode) [1]_. The two spreads are summed over
    a grid of 25 x 5 values, weighted by prior and evidence.

    References
    ----------
    .. [1] A. Gelman et al., "Bayesian Data Analysis", 3rd ed., CRC, 2013, ch. 4, 5, 13.
    """
    own_sd, team_sd, weight = _grid(prior)
    teams, days = int(seen.team.max()) + 1, int(seen.day.max()) + 1
    design = _design(seen, teams=teams, days=days)
    centre, precision = _beforehand(prior, team_sd, teams=teams, days=days)
    place, matrix = _modes(seen, design, centre, precision, own_sd)
    weight = weight + _evidence(
        seen, design, centre, precision, own_sd, place=place, matrix=matrix
    )
    share = np.exp(weight - weight.max())
    share /= share.sum()
    spread = np.sqrt(np.diagonal(np.linalg.inv(matrix), axis1=1, axis2=2))
    typical = Mixture(weight=share, mean=place[:, 0], sd=spread[:, 0])
    return Posterior(
        typical=typical,
        next_time=Mixture(
            weight=share, mean=place[:, 0], sd=np.hypot(spread[:, 0], own_sd)
        ),
        teams=tuple(
            Mixture(weight=share, mean=place[:, 2 + team], sd=spread[:, 2 + team])
            for team in range(teams)
        ),
    )


def _grid(prior: Prior) -> tuple[FloatArray, FloatArray, FloatArray]:
    own, team = np.linspace(-3, 3, 25), np.linspace(-2, 2, 5)
    first, second = (axis.ravel() for axis in np.meshgrid(own, team, indexing="ij"))
    return (
        prior.own_sd * np.exp(_OWN_SPREAD * first),
        prior.team_sd * np.exp(_TEAM_SPREAD * second),
        -0.5 * (first**2 + second**2),
    )


def _design(seen: Seen, *, teams: int, days: int) -> FloatArray:
    """Columns: typical, drill-to-real, teams, days."""
    count = seen.value.size
    design = np.zeros((count, 2 + teams + days))
    rows = np.arange(count)
    design[:, 0] = 1.0
    design[:, 1] = -1.0 * seen.drill
    design[rows, 2 + seen.team] = 1.0
    design[rows, 2 + teams + seen.day] = 1.0
    return design


def _beforehand(
    prior: Prior, team_sd: FloatArray, *, teams: int, days: int
) -> tuple[FloatArray, FloatArray]:
    centre = np.zeros(2 + teams + days)
    centre[:2] = prior.middle, prior.drill
    sd = np.empty((team_sd.size, centre.size))
    sd[:, 0], sd[:, 1] = prior.middle_sd, prior.drill_sd
    sd[:, 2 : 2 + teams] = team_sd[:, None]
    sd[:, 2 + teams :] = prior.day_sd
    return centre, 1.0 / sd**2


def _modes(
    seen: Seen,
    design: FloatArray,
    centre: FloatArray,
    precision: FloatArray,
    own_sd: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    place = np.tile(centre, (own_sd.size, 1))
    matrix = np.empty((own_sd.size, centre.size, centre.size))
    # The first round takes stopped records as finished; the others approach the mode.
    for turn in range(60):
        score = (seen.value - place @ design.T) / own_sd[:, None]
        rate = _hazard(score)
        bend = np.where(seen.stopped & (turn > 0), rate * (rate - score), 1.0)
        pull = np.where(seen.stopped & (turn > 0), rate, score)
        bend, pull = bend / own_sd[:, None] ** 2, pull / own_sd[:, None]
        matrix = np.einsum("ni,cn,nj->cij", design, bend, design)
        diagonal = np.arange(centre.size)
        matrix[:, diagonal, diagonal] += precision
        slope = pull @ design - precision * (place - centre)
        step = np.linalg.solve(matrix, slope[:, :, None])[:, :, 0]
        place = place + step
        if turn > 0 and (not seen.stopped.any() or np.abs(step).max() < 1e-9):
            break
    return place, matrix


def _evidence(
    seen: Seen,
    design: FloatArray,
    centre: FloatArray,
    precision: FloatArray,
    own_sd: FloatArray,
    *,
    place: FloatArray,
    matrix: FloatArray,
) -> FloatArray:
    score = (seen.value - place @ design.T) / own_sd[:, None]
    finished = -0.5 * score**2 - np.log(own_sd)[:, None]
    fit = np.where(seen.stopped, _log_tail(score), finished).sum(axis=1)
    away = precision * (place - centre) ** 2 - np.log(precision)
    found: FloatArray = (
        fit - 0.5 * away.sum(axis=1) - 0.5 * np.linalg.slogdet(matrix).logabsdet
    )
    return found


def _tail(score: FloatArray) -> FloatArray:
    """Chance that a standard normal number is greater."""
    flat = [0.5 * erfc(value / sqrt(2.0)) for value in np.ravel(score)]
    return np.array(flat).reshape(np.shape(score))


def _log_tail(score: FloatArray) -> FloatArray:
    far = np.maximum(score, _FAR)
    series = -0.5 * far**2 - np.log(far) - 0.5 * log(2 * pi) + np.log1p(-1 / far**2)
    near = np.log(_tail(np.minimum(score, _FAR)))
    return np.where(score > _FAR, series, near)


def _hazard(score: FloatArray) -> FloatArray:
    found: FloatArray = np.exp(-0.5 * score**2 - 0.5 * log(2 * pi) - _log_tail(score))
    return found
