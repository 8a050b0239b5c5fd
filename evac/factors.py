"""What slows everybody, a team, or one carrier: the factors of rules 24, 25 and 27.

Common practice, no source; each is printed where it is used. Also the safety of ropes.
"""

from __future__ import annotations

from evac.facts.lift import Triple

LEAST_ROPE_SAFETY = 4.5
"""Breaking force of the haul rope over its greatest tension: below this the plan says
so, and no rope is assumed that has less (French limits of monocable ropeways, seen; the
supplier's figure counts)."""

DAY_SD = 0.25
"""Log standard deviation of the factor that all times of a day share (rule 24)."""

TEAM_SD = 0.15
"""Log standard deviation of a team's own factor of the day (rule 24)."""

HARD_SHARE = 1 / 50
HARD_LEAST_S = 600.0
HARD_MOST_S = 1500.0
"""One occupied carrier in 50 takes 10 to 25 min more (rule 24)."""

FATIGUE_PER_HOUR = 0.1
"""Everything takes this much longer per hour of work after the first (rule 25)."""

DRILL_TO_REAL = Triple(low=1.1, likely=1.4, high=2.0)
"""Times of drills are multiplied by this for a real evacuation (rule 25)."""

READY_FACTOR = Triple(low=0.9, likely=1.0, high=1.5)
"""A team leaves after its stated time times this."""

DEEP_SNOW_M = 0.5
"""From this snow on people on foot wade (common practice, no source)."""

NIGHT = 1.3
"""Everything takes this much longer in the dark (rule 27)."""
