"""Widgets for the notebooks: pick a folder, move a slider, see the plan follow.

A notebook cell calls one function here; state lives in a :class:`Workbench`. An error
is shown as its sentence, never as a traceback.
"""

from __future__ import annotations

from evac.desk.begun_views import it_has_begun, one_sighting
from evac.desk.count_views import three_counts
from evac.desk.drill_views import a_drill, who_is_due
from evac.desk.folders import find_folders
from evac.desk.lesson_views import learn_from_drills
from evac.desk.plan_views import findings, the_map, the_sheet, verdict, zones
from evac.desk.record_views import real_evacuations
from evac.desk.stop_views import heights_at_a_stop
from evac.desk.whatif_views import what_if
from evac.desk.workbench import Workbench, open_workbench

__all__ = [
    "Workbench",
    "a_drill",
    "find_folders",
    "findings",
    "heights_at_a_stop",
    "it_has_begun",
    "learn_from_drills",
    "one_sighting",
    "open_workbench",
    "real_evacuations",
    "the_map",
    "the_sheet",
    "three_counts",
    "verdict",
    "what_if",
    "who_is_due",
    "zones",
]
