"""Drawings: functions that take facts and return matplotlib figures.

No pyplot, no state: a figure is made, turned into SVG by `svg_bytes`, and forgotten.
"""

from __future__ import annotations

from evac.figures.canvas import svg_bytes
from evac.figures.line_section import line_section
from evac.figures.times import clearing_times, timeline
from evac.figures.zone_map import zone_map
from evac.figures.zone_section import zone_section

__all__ = [
    "clearing_times",
    "line_section",
    "svg_bytes",
    "timeline",
    "zone_map",
    "zone_section",
]
