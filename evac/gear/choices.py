"""Every way a team can work: trained, crewed, approved, with a kit in hand."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from evac.facts.lift import Kit, Lift, Team, Technique
from evac.facts.work import Option
from evac.gear.approval import is_approved

OUTSIDE_HELP = "outside help"


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """Why a trained team cannot use a technique or a kit, or with what doubt it can.

    ``key`` is a finding key below ``gear.``; ``kit`` is "" where the technique itself
    is lost.
    """

    key: str
    team: str
    technique: str
    kit: str = ""


def options(lift: Lift, *, date: dt.date | None = None) -> tuple[Option, ...]:
    """Every (team, kit, technique) that can be planned with.

    The team is trained and has the technique's crew, the technique is approved, fits
    the carriers, may be worked in the team's direction and is not outside help, and the
    kit is the team's own, not to be
    retired and not overdue for inspection. A spare kit goes to one team at most, as it
    can be in one place only: to the team that ``lift.spares`` names. Where it names
    none that may use it, to the first team that has no kit of its own for the
    technique, else to the one whose own ropes of that technique are shortest, if the
    spare is longer.

    Parameters
    ----------
    lift : Lift
    date : dt.date, optional
        Day to which retirement and inspection are counted; the planned day if left out.

    Returns
    -------
    tuple of Option
        In order of teams, then kits; ``index`` counts from 0.

    See Also
    --------
    refusals : What was left out, and why.
    """
    day = date or lift.conditions.date
    found: list[Option] = []
    for number, team in enumerate(lift.teams):
        for kit in kits_of(lift, team, date=day):
            found.append(
                Option(
                    index=len(found),
                    team=team.id,
                    team_index=number,
                    kit=kit.id,
                    technique=kit.technique,
                )
            )
    return tuple(found)


def technique_of(lift: Lift, technique_id: str) -> Technique:
    """The technique with an id that the folder has been checked to hold."""
    return next(item for item in lift.techniques if item.id == technique_id)


def kit_of(lift: Lift, kit_id: str) -> Kit:
    """The kit with an id that the folder has been checked to hold."""
    return next(item for item in lift.kits if item.id == kit_id)


def kits_of(lift: Lift, team: Team, *, date: dt.date) -> tuple[Kit, ...]:
    """The kits a team may work with: its own and spares given to it, usable."""
    usable = {t.id for t in lift.techniques if why_not(lift, team, t) is None}
    given = spare_kits(lift, date=date)
    return tuple(
        kit
        for kit in lift.kits
        if kit.technique in usable
        and is_usable(kit, date=date)
        and (kit.team == team.id or given.get(kit.id) == team.id)
    )


def why_not(lift: Lift, team: Team, technique: Technique) -> str | None:
    """Why a team may not use a technique (a finding key below ``gear.``), or None."""
    if technique.id not in team.techniques:
        return "untrained"
    if technique.kind == OUTSIDE_HELP:
        return "outside_help"
    if not is_approved(technique.approval):
        return "not_approved"
    if lift.carriers.type not in technique.carrier_types:
        return "carrier"
    if team.crew < technique.min_crew:
        return "crew"
    if technique.downhill_only and not team.start_upper:
        # Its zone would be worked uphill (rules 12 and 17).
        return "direction"
    return None


def is_retired(kit: Kit, *, date: dt.date) -> bool:
    """Whether a kit is to be out of service on a day."""
    return kit.retire_on is not None and kit.retire_on <= date


def is_overdue(kit: Kit, *, date: dt.date) -> bool:
    """Whether a kit's inspection was due before a day."""
    return kit.inspection_due is not None and kit.inspection_due < date


def is_usable(kit: Kit, *, date: dt.date) -> bool:
    """Whether people may be lowered with a kit: neither retired nor overdue."""
    return not (is_retired(kit, date=date) or is_overdue(kit, date=date))


def spare_takers(lift: Lift, *, date: dt.date) -> dict[str, tuple[str, ...]]:
    """Usable spare kit -> the teams that may use it, in order of rows."""
    techniques = {technique.id: technique for technique in lift.techniques}
    return {
        kit.id: tuple(
            team.id
            for team in lift.teams
            if why_not(lift, team, techniques[kit.technique]) is None
        )
        for kit in lift.kits
        if kit.team is None
        and kit.technique in techniques
        and is_usable(kit, date=date)
    }


def spare_kits(lift: Lift, *, date: dt.date) -> dict[str, str]:
    """Spare kit -> the one team that takes it; spares that stay on the shelf lack."""
    given: dict[str, str] = {}
    in_hand: dict[tuple[str, str], float] = {}
    for kit in lift.kits:
        if kit.team is not None and is_usable(kit, date=date):
            key = (kit.team, kit.technique)
            in_hand[key] = max(in_hand.get(key, 0.0), kit.rope_length_m)
    for kit_id, able in spare_takers(lift, date=date).items():
        if not able:
            continue
        if lift.spares.get(kit_id) in able:
            given[kit_id] = lift.spares[kit_id]
            continue
        spare = kit_of(lift, kit_id)
        lengths_m = [in_hand.get((team, spare.technique), -1.0) for team in able]
        # The first row among equals.
        taker = able[lengths_m.index(min(lengths_m))]
        if min(lengths_m) < spare.rope_length_m:
            given[kit_id] = taker
            in_hand[taker, spare.technique] = spare.rope_length_m
    return given


def refusals(lift: Lift) -> tuple[Refusal, ...]:
    """Techniques that trained teams lose, in order of teams."""
    found = []
    for team in lift.teams:
        for technique in lift.techniques:
            reason = why_not(lift, team, technique)
            if reason is not None and reason != "untrained":
                found.append(Refusal(key=reason, team=team.id, technique=technique.id))
    return tuple(found)
