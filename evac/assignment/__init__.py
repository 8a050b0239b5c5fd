"""Who clears what: the proven best sharing of the line among the teams."""

from evac.assignment.costs import last_finish_s, team_of_unit, units_in_order
from evac.assignment.solve import assign

__all__ = ["assign", "last_finish_s", "team_of_unit", "units_in_order"]
