"""How each team gets to each support: shortest times over the ways to hand."""

from evac.access.cover import find_pickoffs, pickoff_doubts, vehicle_doubts
from evac.access.doubts import doubts
from evac.access.passages import SupportWays
from evac.access.routes import WaysIn, find_routes, open_ways
from evac.walking import walking_seconds

__all__ = [
    "SupportWays",
    "WaysIn",
    "doubts",
    "find_pickoffs",
    "find_routes",
    "open_ways",
    "pickoff_doubts",
    "vehicle_doubts",
    "walking_seconds",
]
