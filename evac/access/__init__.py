"""How each team gets to each support: shortest times over the ways to hand."""

from evac.access.cover import find_pickoffs, pickoff_doubts, vehicle_doubts
from evac.access.doubts import doubts
from evac.access.routes import find_routes
from evac.access.walking import walking_seconds

__all__ = [
    "doubts",
    "find_pickoffs",
    "find_routes",
    "pickoff_doubts",
    "vehicle_doubts",
    "walking_seconds",
]
