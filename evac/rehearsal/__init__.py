"""Drills: make one from a plan, compare what was timed with what was planned."""

from evac.rehearsal.compare import compare
from evac.rehearsal.draw import LIVE_HEIGHT_M, draw_drill
from evac.rehearsal.lesson import Lesson, evaluate

__all__ = ["LIVE_HEIGHT_M", "Lesson", "compare", "draw_drill", "evaluate"]
