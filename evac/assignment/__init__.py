"""Who clears what: the proven best sharing of the line among the teams."""

from evac.assignment.costs import units_in_order
from evac.assignment.solve import assign

__all__ = ["assign", "units_in_order"]
