"""Drawings: functions that take facts and return matplotlib figures.

No pyplot, no state: a figure is made, turned into SVG by `svg_bytes`, and forgotten.
"""

from __future__ import annotations

from evac.figures.canvas import svg_bytes
from evac.figures.line_section import line_section
from evac.figures.zone_map import zone_map
from evac.figures.zone_section import zone_section

__all__ = ["line_section", "svg_bytes", "zone_map", "zone_section"]
