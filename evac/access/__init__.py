"""How each team gets to each support: shortest times over the ways to hand."""

from evac.access.doubts import doubts
from evac.access.routes import find_routes
from evac.access.walking import walking_seconds

__all__ = ["doubts", "find_routes", "walking_seconds"]
