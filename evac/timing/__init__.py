"""Seconds for every step of a rescue, and the work table of the assignment."""

from evac.timing.doubts import doubts, pace_doubts
from evac.timing.seconds import (
    carrier_seconds,
    cross_seconds,
    next_carrier_seconds,
    planned_people,
    rescue_seconds,
    setup_seconds,
    side_change_seconds,
    walk_back_seconds,
)
from evac.timing.special import special_doubts, special_passengers
from evac.timing.steps import day_factor, has_times
from evac.timing.work import build_work, stop_people

__all__ = [
    "build_work",
    "carrier_seconds",
    "cross_seconds",
    "day_factor",
    "doubts",
    "has_times",
    "next_carrier_seconds",
    "pace_doubts",
    "planned_people",
    "rescue_seconds",
    "setup_seconds",
    "side_change_seconds",
    "special_doubts",
    "special_passengers",
    "stop_people",
    "walk_back_seconds",
]
