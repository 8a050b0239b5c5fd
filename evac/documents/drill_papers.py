"""Papers of a drill: a sheet a team, the observers' time sheets, the safety page."""

from __future__ import annotations

import math
from collections.abc import Sequence

from evac.documents.blocks import (
    Block,
    blanks,
    box,
    heading,
    page_break,
    paragraph,
    points,
    steps,
    table,
)
from evac.documents.names import file_names
from evac.documents.typeset import Fact, page_pictures, pdf_bytes
from evac.facts.lift import Lift
from evac.facts.rehearsal import (
    Drill,
    DrillCarrier,
    DrillKind,
    DrillTeam,
    TimedStep,
)
from evac.figures.carrier_words import say_of
from evac.inputs.drill_times import COLUMNS
from evac.ladder import CHILL_THAT_DECIDES_C
from evac.tables_out import Table, workbook_bytes
from evac.words import Words

_SAFETY_LINES = 11
_TOLD_ON_THE_WAY = frozenset({DrillKind.DRIVE_RESTORED, DrillKind.TEAM_MISSING})
"""Kinds that teach nothing once the teams have read of them on their sheets."""

CARRIER_COLUMNS = ("number", "side", "span", "at", "seat", "people", "who")
"""Columns of a team's carriers: words keys below ``drill.column_``."""


def drill_files(drill: Drill, lift: Lift, words: Words) -> dict[str, bytes]:
    """Every paper of a drill, by its name in the output folder.

    Returns
    -------
    dict of str to bytes
        ``safety.pdf``, ``observer.pdf``, ``observer.xlsx`` (the very columns that
        `evac.inputs.drill_times` reads) and ``teams/<team>.pdf``.
    """
    files = {
        f"{name}.pdf": pdf_bytes("document", facts=facts)
        for name, facts in _papers(drill, lift, words).items()
    }
    files["observer.xlsx"] = observer_workbook(drill, words)
    return files


def drill_pictures(
    drill: Drill, lift: Lift, name: str, words: Words, *, dots_per_inch: int = 90
) -> tuple[bytes, ...]:
    """The pages of one paper as PNG pictures, for a notebook.

    `name` is that of a PDF of `drill_files`.
    """
    facts = _papers(drill, lift, words)[name.removesuffix(".pdf")]
    return page_pictures("document", facts=facts, dots_per_inch=dots_per_inch)


def _papers(drill: Drill, lift: Lift, words: Words) -> dict[str, dict[str, Fact]]:
    """What is set on every paper, by its name in the output folder."""
    names = file_names([team.team for team in drill.teams])
    papers = {
        f"teams/{names[team.team]}": _paper(
            words.say("drill.sheet_title", team=team.team),
            [*_team_card(drill, words), *_team_blocks(drill, team, lift, words)],
            drill,
            lift,
            words,
            stamp="drill.stamp_team",
        )
        for team in drill.teams
    }
    papers["safety"] = _paper(
        words.say("drill.safety_title"), _safety(drill, lift, words), drill, lift, words
    )
    papers["observer"] = _paper(
        words.say("drill.observer_title"), _observer(drill, words), drill, lift, words
    )
    return papers


def observer_workbook(drill: Drill, words: Words) -> bytes:
    """The observers' lines as a spreadsheet, times blank."""
    rows = tuple(
        (
            # The day of the drill, which is not known yet, is written in once.
            "",
            step.team,
            step.span_id,
            "" if step.carrier is None else str(step.carrier),
            "" if step.passenger is None else str(step.passenger),
            step.row.technique,
            step.row.step,
            step.row.per,
            step.row.condition,
            round(step.planned_s),
            round(step.amount, 2),
            "",
            "",
            "no",
            "no",
            "",
            "",
        )
        for team in drill.teams
        for step in team.steps
    )
    name = words.say("drill.observer_title")
    return workbook_bytes((Table(name=name, columns=COLUMNS, rows=rows),), drill.date)


def _paper(
    title: str,
    blocks: Sequence[Block],
    drill: Drill,
    lift: Lift,
    words: Words,
    *,
    stamp: str = "drill.stamp",
) -> dict[str, Fact]:
    cautions = [words.say(f"cautions.c{number}") for number in range(1, 5)]
    return {
        "title": title,
        "kicker": words.say("drill.title", lift=lift.name),
        "stamp": words.say(
            stamp,
            lift=lift.name,
            seed=drill.seed,
            day=drill.date,
            kind=drill.kind.value,
        ),
        "gap": "",
        "contents_title": "",
        "identity": [],
        "first": list(blocks),
        "blocks": [
            heading(words.say("cautions.title")),
            points(cautions),
        ],
    }


def _kind(drill: Drill, words: Words) -> str:
    return words.say(f"drill.kind_{drill.kind.value.replace(' ', '_')}")


def _secrets(drill: Drill, words: Words) -> list[Block]:
    """What the safety officer and the observers know and the teams do not."""
    told: list[str] = []
    if drill.restored_after is not None:
        told.append(words.say("drill.restored", count=drill.restored_after))
    told += [
        words.say("drill.missing_secret", team=team.team)
        for team in drill.teams
        if team.missing
    ]
    told += [
        words.say("drill.pickoff_secret", team=team.team, carrier=carrier.number)
        for team in drill.teams
        for carrier in team.carriers
        if carrier.calls_pickoff
    ]
    return [box(text) for text in told]


def _team_card(drill: Drill, words: Words) -> list[Block]:
    """The card without what would give a surprise away; a usual drill reads alike."""
    hidden = drill.kind in _TOLD_ON_THE_WAY or drill.kind is DrillKind.USUAL
    kind = words.say("drill.kind_open") if hidden else _kind(drill, words)
    return [box(kind), *_day(drill, words)]


def _day(drill: Drill, words: Words) -> list[Block]:
    weather = drill.weather
    return [
        paragraph(
            words.say(
                "drill.facts",
                stop_offset_m=drill.stop_offset_m,
                occupied_share=drill.occupied_share,
            )
        ),
        paragraph(
            words.say(
                "drill.weather",
                air_temperature_c=weather.air_temperature_c,
                wind_m_per_s=weather.wind_m_per_s,
                snow_m=weather.snow_m,
                light=words.say(
                    "drill.light_night" if weather.night else "drill.light_day"
                ),
            )
        ),
    ]


def _team_blocks(
    drill: Drill, team: DrillTeam, lift: Lift, words: Words
) -> list[Block]:
    if team.missing:
        return [box(words.say("drill.missing"))]
    blocks = [
        paragraph(
            words.say(
                "drill.task",
                support=team.enters_at,
                technique=team.technique,
                kit=team.kit,
            ),
            strong=True,
        ),
        table(
            [say_of(words, f"drill.column_{key}", lift) for key in CARRIER_COLUMNS],
            rows=[carrier_row(drill, carrier, words) for carrier in team.carriers],
            widths=[0, 0, 0, 0, 0, 0, 1],
            right=[3, 4, 5],
        ),
        paragraph(say_of(words, "drill.measure_first", lift), strong=True),
    ]
    if any(carrier.calls_pickoff for carrier in team.carriers):
        blocks.append(box(_call_text(team, words)))
    return [
        *blocks,
        paragraph(words.say("drill.people_note")),
        blanks(
            [
                words.say(f"drill.{key}")
                for key in (
                    "blank_secured",
                    "blank_abort",
                    "took_part",
                    "blank_started",
                    "blank_done",
                    "blank_measures",
                )
            ]
        ),
    ]


def _call_text(team: DrillTeam, words: Words) -> str:
    """What a team practises for a passenger whom its technique cannot take."""
    begin = words.say("drill.cannot_take", technique=team.technique)
    pickoff = team.pickoff
    if pickoff is None:
        return f"{begin} {words.say('drill.call_nobody')}"
    own = pickoff.team == team.team
    rest = words.say(
        "drill.call_own" if own else "drill.call_team",
        pickoff_team=pickoff.team or "",
        kit=pickoff.kit or "",
        technique=pickoff.technique or "",
    )
    return f"{begin} {rest}"


def carrier_row(drill: Drill, carrier: DrillCarrier, words: Words) -> list[str]:
    """One carrier of a drill as text, in the order of `CARRIER_COLUMNS`."""
    if carrier.people == 0:
        who = words.say("drill.who_empty")
    elif carrier.dummy:
        who = words.say("drill.who_dummy", most_m=drill.most_live_height_m)
    else:
        who = words.say("drill.who_live", count=carrier.people)
    if carrier.incapacitated:
        plays = "dummy" if carrier.dummy else "live"
        who += " " + words.say(f"drill.who_incapacitated_{plays}")
    if carrier.calls_pickoff:
        who += " " + words.say("drill.who_pickoff")
    return [
        words.number(carrier.number, 0),
        carrier.side.value,
        carrier.span_id,
        words.number(carrier.distance_m, 0),
        words.say(
            "drill.seat",
            seat=_plain(carrier.seat_height_m, words),
            margin=_plain(carrier.margin_m, words),
        ),
        words.number(carrier.people, 0),
        who,
    ]


def _plain(value_m: float, words: Words) -> str:
    if not math.isfinite(value_m):
        return words.say("sheet.unknown")
    return words.number(value_m, 1)


def _safety(drill: Drill, lift: Lift, words: Words) -> list[Block]:
    names = ["blank_abort", "officer", "mechanic"]
    if drill.kind is DrillKind.COLD:
        names.insert(1, "blank_warm_up")
    return [
        box(_kind(drill, words)),
        *_secrets(drill, words),
        *_day(drill, words),
        paragraph(words.say("drill.safety_head"), strong=True),
        steps(
            [
                say_of(
                    words,
                    f"drill.safety_{number}",
                    lift,
                    most_m=drill.most_live_height_m,
                    winds=_wind_limits(drill, lift, words),
                    chill_c=CHILL_THAT_DECIDES_C,
                )
                for number in range(1, _SAFETY_LINES + 1)
            ]
        ),
        blanks([words.say(f"drill.{name}") for name in names]),
        paragraph(words.say("drill.safety_source")),
    ]


def _wind_limits(drill: Drill, lift: Lift, words: Words) -> str:
    """The wind at which each technique of the drill stops."""
    used = dict.fromkeys(team.technique for team in drill.teams)
    return ", ".join(
        words.say(
            "drill.wind_limit",
            technique=item.id,
            wind_m_per_s=item.wind_limit_m_per_s,
        )
        for item in lift.techniques
        if item.id in used
    )


def _observer(drill: Drill, words: Words) -> list[Block]:
    blocks: list[Block] = [
        *_secrets(drill, words),
        paragraph(words.say("drill.observer_how")),
    ]
    head = [
        words.say("drill.column_span"),
        words.say("drill.carrier"),
        words.say("drill.passenger"),
        words.say("drill.step"),
        words.say("drill.amount"),
        words.say("drill.observer_planned"),
        words.say("drill.observer_begun"),
        words.say("drill.observer_ended"),
        words.say("drill.observer_stopped"),
    ]
    timed = [team for team in drill.teams if team.steps]
    for number, team in enumerate(timed):
        if number:
            blocks.append(page_break())
        blocks += [
            heading(words.say("drill.sheet_title", team=team.team)),
            # Before the lines, which may run on over a page.
            blanks([words.say("drill.blank_day"), words.say("drill.took_part")]),
            table(
                head,
                rows=[_observer_row(step, words) for step in team.steps],
                widths=[0, 0, 0, 2, 1.2, 0, 0.9, 0.9, 0.9],
                right=[5],
            ),
        ]
    return blocks


def _observer_row(step: TimedStep, words: Words) -> list[str]:
    return [
        step.span_id,
        "" if step.carrier is None else words.number(step.carrier, 0),
        "" if step.passenger is None else words.number(step.passenger, 0),
        step.row.step,
        words.say("drill.whole_way", way_m=step.way_m)
        if step.way_m
        else _amount(step, words),
        words.duration(step.planned_s),
        "",
        "",
        "",
    ]


def _amount(step: TimedStep, words: Words) -> str:
    """For how many carriers, passengers or metres a line stands."""
    count = round(step.amount)
    key = f"drill.amount_{step.row.per}"
    if words.has(key):
        return words.say(key, count=count)
    return f"{words.number(count, 0)} {step.row.per}"
