"""What was timed in a drill or a real evacuation."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillRecord:
    """One timed step of one team; one row of ``drills.csv``.

    ``technique``, ``step``, ``per`` and ``condition`` name the row of the step times
    that it belongs to (``condition`` may be blank where only one row fits).
    """

    date: date
    team: str
    technique: str
    """A technique's kind, or ``any on the ground``."""
    step: str
    per: str
    seconds: float
    """All that was timed, for ``amount`` carriers, passengers or metres."""
    amount: float = 1.0
    condition: str = ""
    stopped: bool = False
    """The step was not finished: it takes longer than ``seconds``."""
    real: bool = False
    """A real evacuation, not a drill."""
    worked_s: float = 0.0
    """How long the team had been at work when the step began (fatigue, rule 25)."""
    where: str = ""
    """The row it came from, for findings, such as ``"drills.csv, row 7"``."""
