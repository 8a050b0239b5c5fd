"""Published tables that the work itself needs, each row with its source.

The tables are CSV files beside this module; a reader for each returns frozen rows.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from functools import cache
from importlib import resources

from evac.facts.lift import StepTime, Triple


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishedLimit:
    """A time limit as a country or a standard states it; None: no figure."""

    where: str
    ropeway: str
    limit_min: float | None
    of_which_before_rescue_min: float | None
    text: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanItem:
    """Something a written plan must contain, and who asks for it."""

    key: str
    """Also the key of its text in ``[plan_texts]`` of ``lift.toml``."""
    item: str
    asked_by: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillRule:
    """How often a country asks for a drill."""

    where: str
    rule: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RopeFactors:
    """Factors of a rope construction: mass, metallic area and strength.

    Of a rope ``d`` millimetres thick: mass [kg/m] = ``mass_factor`` d^2 / 100, area
    [mm^2] = ``area_factor`` d^2, least breaking force [kN] = ``strength_factor`` d^2
    x wire grade [N/mm^2] / 1000.
    """

    construction: str
    core: str
    mass_factor: float
    area_factor: float
    strength_factor: float
    source: str


def table_text(name: str) -> str:
    """The CSV text of one table of this package, such as ``"step_times.csv"``."""
    return (resources.files("evac.reference") / name).read_text("utf-8")


@cache
def step_times() -> tuple[StepTime, ...]:
    """Seconds for every step of a rescue, before any drill has corrected them.

    Examples
    --------
    >>> first = step_times()[0]
    >>> first.step, first.seconds.likely
    ('first set-up in a span', 240.0)
    """
    return tuple(
        StepTime(
            technique=row["technique"],
            step=row["step"],
            per=row["per"],
            seconds=Triple(
                low=float(row["low_s"]),
                likely=float(row["likely_s"]),
                high=float(row["high_s"]),
            ),
            condition=row["condition"],
        )
        for row in _rows("step_times.csv")
    )


@cache
def time_limits() -> tuple[PublishedLimit, ...]:
    """Time limits of countries and standards; none is ever a silent default."""
    return tuple(
        PublishedLimit(
            where=row["where"],
            ropeway=row["ropeway"],
            limit_min=_number(row["limit_min"]),
            of_which_before_rescue_min=_number(row["of_which_before_rescue_min"]),
            text=row["text"],
            source=row["source"],
        )
        for row in _rows("time_limits.csv")
    )


@cache
def plan_contents() -> tuple[PlanItem, ...]:
    """What a written plan must contain, in the order in which it is printed."""
    return tuple(PlanItem(**row) for row in _rows("plan_contents.csv"))


@cache
def drill_rules() -> tuple[DrillRule, ...]:
    """How often drills are asked for."""
    return tuple(DrillRule(**row) for row in _rows("drills.csv"))


@cache
def rope_factors() -> tuple[RopeFactors, ...]:
    """Rope factors of EN 12385 for the constructions met on ropeways.

    Examples
    --------
    >>> six_by_19 = rope_factors()[1]
    >>> round(six_by_19.mass_factor * 40**2 / 100, 2)  # 40 mm, kg/m
    5.74
    """
    return tuple(
        RopeFactors(
            construction=row["construction"],
            core=row["core"],
            mass_factor=float(row["mass_factor"]),
            area_factor=float(row["area_factor"]),
            strength_factor=float(row["strength_factor"]),
            source=row["source"],
        )
        for row in _rows("rope_factors.csv")
    )


def _rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(table_text(name))))


def _number(text: str) -> float | None:
    return float(text) if text else None
