"""People on a team sheet: how many, whom the team cannot take, for whom it comes."""

from __future__ import annotations

from collections.abc import Sequence

from evac.documents.names import zone_text
from evac.documents.typeset import Fact
from evac.facts.lift import Side, Team
from evac.facts.plan import Plan
from evac.facts.work import Rescue, Zone
from evac.figures.carrier_words import say_of
from evac.figures.taken import carriers_most
from evac.gear import technique_of
from evac.words import Words


def load_text(
    plan: Plan, zones: Sequence[Zone], rescues: Sequence[Rescue], words: Words
) -> str:
    """Carriers and seats of a team's zones, and how many people are planned for.

    Carriers at the reference stop, with how many there may be at another one.
    """
    most = _carriers(plan, zones, rescues)
    return words.say(
        "sheet.load_more" if most > len(rescues) else "sheet.load",
        carriers=len(rescues),
        most=most,
        planned=_planned(zones, rescues),
        share=_share_text(plan, zones, words),
        seats=most * plan.lift.carriers.seats,
    )


def count_text(
    plan: Plan, zones: Sequence[Zone], rescues: Sequence[Rescue], words: Words
) -> str:
    """What a count is held against: the people planned for, and the seats.

    The planned number is no bound, so nobody may stop looking when it is reached.
    """
    return words.say(
        "sheet.expected_value",
        planned=_planned(zones, rescues),
        seats=_carriers(plan, zones, rescues) * plan.lift.carriers.seats,
    )


def _carriers(plan: Plan, zones: Sequence[Zone], rescues: Sequence[Rescue]) -> int:
    return max(carriers_most(plan, zones), len(rescues))


def _planned(zones: Sequence[Zone], rescues: Sequence[Rescue]) -> int:
    """People that the zones are planned for, at the stop position with most."""
    return max(sum(zone.people for zone in zones), sum(item.people for item in rescues))


def _share_text(plan: Plan, zones: Sequence[Zone], words: Words) -> str:
    """The share of seats taken that the plan is made for, of each side in the zones."""
    lift = plan.lift
    shares = {
        Side.ASCENDING: lift.occupancy.high,
        Side.DESCENDING: lift.descending_occupancy.high,
    }
    sides = {side for zone in zones for side in zone.sides}
    if len(sides) == 1 or len(set(shares.values())) == 1:
        return words.say("sheet.share", taken_share=shares[sides.pop()])
    return words.say(
        "sheet.share_both",
        ascending_share=shares[Side.ASCENDING],
        descending_share=shares[Side.DESCENDING],
    )


def special_lines(
    plan: Plan, team: Team, zones: Sequence[Zone], words: Words
) -> list[Fact]:
    """What is done for each kind of passenger; not what the technique cannot do."""
    cannot = bool(_unable(plan, team, zones))
    lines: list[Fact] = []
    while words.has(key := f"sheet.label.special_{len(lines) + 1}"):
        other = f"{key}_cannot"
        key = other if cannot and words.has(other) else key
        lines.append(say_of(words, key, plan.lift))
    return lines


def special_note(plan: Plan, team: Team, zones: Sequence[Zone], words: Words) -> str:
    """Whether the team takes passengers who cannot help, else who does (rule 19)."""
    unable = _unable(plan, team, zones)
    if not unable:
        return words.say("sheet.incapacitated_yes")
    if not zones:
        return words.say("sheet.incapacitated_reserve", techniques=", ".join(unable))
    cover = next((item for item in plan.pickoffs if item.zone_team == team.id), None)
    pickoff_s = plan.lift.organisation.pickoff_s
    if cover is None or cover.team is None:
        return words.say("sheet.incapacitated_no", pickoff_s=pickoff_s)
    return words.say(
        "sheet.incapacitated_own"
        if cover.team == team.id
        else "sheet.incapacitated_team",
        team=cover.team,
        kit=cover.kit or "",
        technique=cover.technique or "",
        pickoff_s=pickoff_s,
    )


def _unable(plan: Plan, team: Team, zones: Sequence[Zone]) -> list[str]:
    """Techniques of the zones, or of a team in reserve, without such passengers."""
    names = (
        [zone.option.technique for zone in zones]
        if zones
        else [item.technique for item in plan.work.options if item.team == team.id]
    )
    return [
        name
        for name in dict.fromkeys(names)
        if not technique_of(plan.lift, name).incapacitated
    ]


def cover_lines(plan: Plan, team: Team, words: Words) -> list[str]:
    """The zones of other teams for which this team is called to pick off (rule 19)."""
    zones = {zone.team: zone for zone in plan.assignment.zones}
    return [
        words.say(
            "sheet.covers",
            team=item.zone_team,
            zone=zone_text(plan.lift, zones[item.zone_team], words),
            kit=item.kit or "",
            technique=item.technique or "",
        )
        for item in plan.pickoffs
        if item.team == team.id != item.zone_team and item.zone_team in zones
    ]
