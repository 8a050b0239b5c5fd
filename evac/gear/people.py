"""How many people a plan needs at once: a person is in one place (rule 21)."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import astuple, dataclass

from evac.facts.finding import Finding, Severity
from evac.facts.lift import Lift
from evac.facts.work import NEVER_S, Option, UnitGate

MUSTER_ROLE = "muster"
"""The role whose people receive evacuees."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PeopleNeeded:
    """People who are each bound to one place, by what binds them.

    ``receivers``: at muster points, beyond those that the role "muster" names.
    """

    teams: int
    roles: int
    informers: int
    hazards: int
    receivers: int

    @property
    def total(self) -> int:
        """All of them together."""
        return sum(astuple(self))


def people_needed(
    lift: Lift,
    options: Sequence[Option],
    gates: Sequence[UnitGate],
    *,
    points: Collection[str],
) -> PeopleNeeded:
    """Count the people whom the plan needs at the same time.

    Parameters
    ----------
    lift : Lift
    options : sequence of Option
        From :func:`evac.gear.options`; teams that cannot work bind nobody.
    gates : sequence of UnitGate
        For the extra people at hazards that are opened.
    points : collection of str
        Muster points that somebody walks to.
    """
    open_gates = [gate for gate in gates if gate.opens_s < NEVER_S]
    met = {name for gate in open_gates for name in gate.hazard_ids}
    able = {option.team for option in options}
    organisation = lift.organisation
    receivers = sum(p.receivers for p in lift.muster_points if p.id in points)
    return PeopleNeeded(
        teams=sum(team.crew for team in lift.teams if team.id in able),
        roles=sum(organisation.roles.values()),
        informers=organisation.informer_count,
        hazards=sum(item.extra_people for item in lift.hazards if item.id in met),
        receivers=max(0, receivers - _named_receivers(organisation.roles)),
    )


def _named_receivers(roles: Mapping[str, int]) -> int:
    # Operators write roles as they print them: "Muster" names the same people.
    return sum(
        count for role, count in roles.items() if role.strip().casefold() == MUSTER_ROLE
    )


def people_doubts(lift: Lift, needed: PeopleNeeded) -> tuple[Finding, ...]:
    """Too few people present, or nobody says how many are."""
    present = lift.organisation.people_present
    if present is None:
        return (Finding(key="gear.people_unknown", severity=Severity.NOTE),)
    if needed.total <= present:
        return ()
    return (
        Finding(
            key="gear.people_short",
            severity=Severity.WARN,
            values={
                "needed": needed.total,
                "present": present,
                "teams": needed.teams,
                "roles": needed.roles,
                "informers": needed.informers,
                "hazards": needed.hazards,
                "receivers": needed.receivers,
            },
        ),
    )
