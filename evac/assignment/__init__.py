"""Who clears what: the proven best sharing of the line among the teams."""

from evac.assignment.costs import team_of_unit, units_in_order
from evac.assignment.solve import assign

__all__ = ["assign", "team_of_unit", "units_in_order"]
