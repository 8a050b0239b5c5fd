"""Where the supports stand: order, distance along the line, place in the frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from evac.errors import InputError, Problem
from evac.facts.finding import Finding, Severity
from evac.facts.heights import BoolArray
from evac.facts.lift import FloatArray, SupportKind
from evac.frame import Frame, meets_antimeridian
from evac.inputs.problems import problem
from evac.inputs.rows import SupportRow
from evac.units import FOOT_M

SHORTEST_LINE_M = 20.0
APART_DOUBT, APART_MOST = (2.0, 0.02), (10.0, 0.1)
"""Between neighbours a difference of distance and map is told, and refused, from these
metres on, or from this share of what lies between where that is more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """The supports of a line, placed; arrays of shape (n,)."""

    frame: Frame
    distance_m: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    findings: tuple[Finding, ...]


def place_supports(
    rows: Sequence[SupportRow], *, numbers: Sequence[int], file: str
) -> Placed:
    """Place every support from its distance, its latitude and longitude, or both.

    The first row is the frame's origin. A row without latitude and longitude is
    placed on the straight line between the first and the last.

    Parameters
    ----------
    rows : sequence of SupportRow
        In order along the line.
    numbers : sequence of int
        Row numbers as a spreadsheet counts them.
    file : str
        Name of the table.

    Raises
    ------
    InputError
        Listing every row that repeats, is out of order, or cannot be placed.
    """
    problems = _row_problems(rows, numbers)
    if problems:
        raise InputError(file, problems)
    first, last = rows[0], rows[-1]
    # Blank places of the ends were refused above.
    frame = Frame(latitude_deg=first.lat or 0.0, longitude_deg=first.lon or 0.0)
    if meets_antimeridian(
        latitude_deg=frame.latitude_deg, longitude_deg=frame.longitude_deg
    ):
        where = f"row {numbers[0]}, column lon"
        raise InputError(file, [problem("antimeridian", where=where, found=first.lon)])
    lat = np.array([np.nan if row.lat is None else row.lat for row in rows])
    lon = np.array([np.nan if row.lon is None else row.lon for row in rows])
    given = np.array([np.nan if r.distance_m is None else r.distance_m for r in rows])
    known = ~np.isnan(lat)
    x_m, y_m = np.full(len(rows), np.nan), np.full(len(rows), np.nan)
    x_m[known], y_m[known] = frame.from_degrees(
        latitude_deg=lat[known], longitude_deg=lon[known]
    )
    length_m = float(np.hypot(x_m[-1], y_m[-1]))
    if not SHORTEST_LINE_M <= length_m <= 20_000:
        where = f"row {numbers[-1]}, column lat"
        found = f"{length_m:,.0f} m from the first support"
        raise InputError(file, [problem("line_length", where=where, found=found)])
    if last.distance_m is not None:
        problems = _length_problems(last.distance_m, length_m, numbers[-1])
    if problems:
        raise InputError(file, problems)
    share = given / (length_m if last.distance_m is None else last.distance_m)
    x_m = np.where(known, x_m, share * x_m[-1])
    y_m = np.where(known, y_m, share * y_m[-1])
    steps_m = np.hypot(np.diff(x_m), np.diff(y_m))
    distance_m = given.copy()
    distance_m[0] = 0.0
    for index in range(1, len(rows)):
        if np.isnan(distance_m[index]):
            distance_m[index] = distance_m[index - 1] + steps_m[index - 1]
    problems = _order_problems(rows, numbers, distance_m)
    if problems:
        raise InputError(file, problems)
    problems = _apart_problems(rows, numbers, given, steps_m=steps_m, known=known)
    if problems:
        raise InputError(file, problems)
    # Where the whole length is in dispute, every span is.
    findings = _placing_doubts(distance_m, x_m=x_m, y_m=y_m) or _apart_doubts(
        rows, given, steps_m=steps_m, known=known
    )
    return Placed(
        frame=frame, distance_m=distance_m, x_m=x_m, y_m=y_m, findings=findings
    )


def _row_problems(rows: Sequence[SupportRow], numbers: Sequence[int]) -> list[Problem]:
    if len(rows) < 2:
        return [problem("two_supports", where="the table", found=f"{len(rows)} row")]
    problems: list[Problem] = []
    seen: dict[str, int] = {}
    for index, (row, number) in enumerate(zip(rows, numbers, strict=True)):
        end = index in (0, len(rows) - 1)
        where = f"row {number}, column "
        if row.support in seen:
            problems.append(
                problem(
                    "id_twice",
                    where=where + "support",
                    found=row.support,
                    other=f"row {seen[row.support]}",
                )
            )
        seen[row.support] = number
        if row.rope_height_m <= 0:
            problems.append(
                problem(
                    "rope_at_ground",
                    where=where + "rope_height_m",
                    found=row.rope_height_m,
                )
            )
        if (row.lat is None) != (row.lon is None):
            column = "lat" if row.lat is None else "lon"
            problems.append(problem("half_a_place", where=where + column))
        elif end and row.lat is None:
            problems.append(problem("end_without_place", where=where + "lat"))
        if index and row.distance_m is None and row.lat is None and not end:
            problems.append(problem("no_distance", where=where + "distance_m"))
        if row.kind is SupportKind.STATION and not end:
            problems.append(
                problem("mid_station", where=where + "kind", found=str(row.kind))
            )
        if end and row.kind not in (None, SupportKind.STATION):
            problems.append(
                problem("end_not_station", where=where + "kind", found=str(row.kind))
            )
    if rows[0].distance_m not in (None, 0.0):
        problems.append(
            problem(
                "first_not_zero",
                where=f"row {numbers[0]}, column distance_m",
                found=rows[0].distance_m,
            )
        )
    return problems


def _length_problems(stated_m: float, length_m: float, number: int) -> list[Problem]:
    """A length that differs grossly from the map's: wrong place or wrong distance."""
    if abs(stated_m - length_m) <= max(0.1 * length_m, 10.0):
        return []
    feet = abs(stated_m * FOOT_M - length_m) <= 0.02 * length_m
    return [
        problem(
            "length_in_feet" if feet else "length_differs",
            where=f"row {number}, column distance_m",
            found=stated_m,
            length_m=length_m,
        )
    ]


def _order_problems(
    rows: Sequence[SupportRow], numbers: Sequence[int], distance_m: FloatArray
) -> list[Problem]:
    return [
        problem(
            "out_of_order",
            where=f"row {number}, column distance_m",
            found=float(here),
            support=row.support,
            before_m=float(before),
        )
        for row, number, here, before in zip(
            rows[1:], numbers[1:], distance_m[1:], distance_m[:-1], strict=True
        )
        if here <= before
    ]


def _contradictions(
    given_m: FloatArray,
    *,
    steps_m: FloatArray,
    known: BoolArray,
    least: tuple[float, float],
) -> list[tuple[int, float]]:
    """Neighbours whose distance and places are both given and differ too much.

    Returns
    -------
    list of (int, float)
        Index of the second of the two, and what ``distance_m`` counts between them [m].
    """
    stated_m = np.diff(given_m)
    both = known[1:] & known[:-1] & np.isfinite(stated_m)
    apart_m = np.abs(np.where(both, stated_m - steps_m, 0.0))
    wrong = apart_m > np.maximum(least[0], least[1] * steps_m)
    return [(int(index) + 1, float(stated_m[index])) for index in np.flatnonzero(wrong)]


def _apart_problems(
    rows: Sequence[SupportRow],
    numbers: Sequence[int],
    given_m: FloatArray,
    *,
    steps_m: FloatArray,
    known: BoolArray,
) -> list[Problem]:
    """Distances that contradict the map so far that one of the two is a mistake."""
    if len(rows) < 3:
        return []
    return [
        problem(
            "distance_differs",
            where=f"row {numbers[index]}, column distance_m",
            found=rows[index].distance_m,
            before=rows[index - 1].support,
            stated_m=stated_m,
            map_m=float(steps_m[index - 1]),
        )
        for index, stated_m in _contradictions(
            given_m, steps_m=steps_m, known=known, least=APART_MOST
        )
    ]


def _apart_doubts(
    rows: Sequence[SupportRow],
    given_m: FloatArray,
    *,
    steps_m: FloatArray,
    known: BoolArray,
) -> tuple[Finding, ...]:
    if len(rows) < 3:
        # Of a line of one span the length is told.
        return ()
    return tuple(
        Finding(
            key="inputs.distance_in_doubt",
            severity=Severity.WARN,
            where=rows[index].support,
            values={
                "first": rows[index - 1].support,
                "second": rows[index].support,
                "stated_m": stated_m,
                "map_m": float(steps_m[index - 1]),
            },
        )
        for index, stated_m in _contradictions(
            given_m, steps_m=steps_m, known=known, least=APART_DOUBT
        )
    )


def _placing_doubts(
    distance_m: FloatArray, *, x_m: FloatArray, y_m: FloatArray
) -> tuple[Finding, ...]:
    """A length in dispute; what stands beside the line is told by `evac.line`."""
    length_m = float(np.hypot(x_m[-1], y_m[-1]))
    apart_m = abs(
        float(distance_m[-1]) - float(np.hypot(np.diff(x_m), np.diff(y_m)).sum())
    )
    if apart_m <= max(0.01 * length_m, 3.0):
        return ()
    return (
        Finding(
            key="inputs.length_in_doubt",
            severity=Severity.WARN,
            values={
                "stated_m": float(distance_m[-1]),
                "map_m": length_m,
                "apart_m": apart_m,
            },
        ),
    )
