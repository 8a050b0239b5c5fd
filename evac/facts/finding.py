"""A finding: something the plan must say, with a severity and a remedy."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class Severity(StrEnum):
    """How much a finding matters."""

    STOP = "stop"
    """Somebody is not reached, or the limit is not met: exit code 1."""
    WARN = "warn"
    """The plan holds only if a person has looked at this."""
    NOTE = "note"
    """Worth knowing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something the plan must say.

    ``key`` names two sentences of ``evac/words``: ``finding.<key>.text`` and
    ``finding.<key>.remedy``, both filled from ``values``. A value's name carries its
    unit (``height_m``), by which the words show it. ``where`` is a span-side such as
    ``"6-7 ascending"``, a file, a team, or ``""``.
    """

    key: str
    severity: Severity
    where: str = ""
    values: Mapping[str, str | float | int] = field(default_factory=dict)
