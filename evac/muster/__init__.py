"""From the landing to a safe place: ways, muster points, what they must take in."""

from evac.muster.care import find_care, landing_class, safe_seconds
from evac.muster.doubts import doubts
from evac.muster.ways import find_ways

__all__ = ["doubts", "find_care", "find_ways", "landing_class", "safe_seconds"]
