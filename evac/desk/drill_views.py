"""Draw a drill and look at its papers."""

from __future__ import annotations

import base64
import datetime as dt
import html

import ipywidgets as widgets

from evac.currency import drill_doubts, standings
from evac.desk.plan_views import picture_of, table_html
from evac.desk.workbench import Workbench, quietly, sentence_html
from evac.documents.drill_papers import (
    CARRIER_COLUMNS,
    carrier_row,
    drill_files,
    drill_pictures,
)
from evac.errors import EvacError
from evac.facts.lift import Kit, Lift
from evac.facts.plan import Plan
from evac.facts.rehearsal import Drill, DrillKind
from evac.rehearsal import draw_drill
from evac.words import Words

_MOST_SEED = 9999


def a_drill(bench: Workbench) -> widgets.VBox:
    """Choose a number and a kind; the drill is drawn, its papers can be saved."""
    words = bench.words
    wide = {"description_width": "initial"}
    seed = widgets.BoundedIntText(
        value=1,
        min=0,
        max=_MOST_SEED,
        description=words.say("desk.drill_seed"),
        style=wide,
    )
    kind = widgets.Dropdown(
        options=[(item.value, item) for item in DrillKind],
        description=words.say("desk.drill_kind"),
        style=wide,
    )
    carriers = widgets.IntSlider(
        value=3, min=1, max=8, description=words.say("desk.drill_carriers"), style=wide
    )
    table, papers = widgets.HTML(), widgets.HTML()
    paper = widgets.Dropdown(description=words.say("desk.drill_paper"), style=wide)
    pages = widgets.VBox()
    drawn: list[Drill] = []

    def show_paper(_change: object = None) -> None:
        pages.children = ()
        if bench.plan is None or not drawn or paper.value is None:
            return
        pictures = drill_pictures(drawn[0], bench.plan.lift, paper.value, words)
        pages.children = tuple(picture_of(page) for page in pictures)

    def clear() -> None:
        drawn.clear()
        table.value, papers.value = "", ""
        with quietly(show_paper, paper):
            paper.options = ()
        show_paper()

    def show(_change: object = None) -> None:
        held = paper.value
        clear()
        if bench.plan is None:
            return
        try:
            drill = draw_drill(
                bench.plan,
                seed=seed.value,
                kind=kind.value,
                carriers_a_team=carriers.value,
            )
            files = drill_files(drill, bench.plan.lift, words)
        except EvacError as error:
            table.value = sentence_html(str(error))
            return
        table.value = table_html(drill_rows(drill, words))
        papers.value = links_html(files)
        drawn.append(drill)
        with quietly(show_paper, paper):
            paper.options = [name for name in sorted(files) if name.endswith(".pdf")]
            # The paper that was being read, if this drill has it too.
            paper.value = held if held in paper.options else paper.options[0]
        show_paper()

    def follow(_plan: Plan | None) -> None:
        show()

    paper.observe(show_paper, names="value")
    for widget in (seed, kind, carriers):
        widget.observe(show, names="value")
    bench.follow(follow)
    return widgets.VBox(
        [widgets.HBox([seed, kind, carriers]), table, papers, paper, pages]
    )


def who_is_due(bench: Workbench) -> widgets.HTML:
    """Who last took part when, which kit is due, and what the chosen rule asks next."""
    box = widgets.HTML()
    words = bench.words

    def show(plan: Plan | None) -> None:
        if plan is None:
            box.value = ""
            return
        told = [
            " ".join(words.finding(finding))
            for finding in drill_doubts(plan.lift, date=plan.date)
        ]
        box.value = (
            sentence_html("\n".join(told))
            + table_html(team_rows(plan.lift, words, date=plan.date))
            + table_html(kit_rows(plan.lift, words, date=plan.due_day))
        )

    bench.follow(show)
    return box


def team_rows(lift: Lift, words: Words, *, date: dt.date) -> list[list[str]]:
    """Every team with its last drill and when the next is due; headings first."""
    head = [words.say(f"desk.due_{key}") for key in ("team", "last", "next", "state")]
    return [
        head,
        *(
            [
                item.team,
                _day(item.last, words),
                _day(item.due, words),
                words.say("desk.due_late" if item.overdue else "desk.due_good"),
            ]
            for item in standings(lift, date=date)
        ),
    ]


def kit_rows(lift: Lift, words: Words, *, date: dt.date) -> list[list[str]]:
    """Every kit with its inspection and end of life, the soonest first."""

    def soonest(kit: Kit) -> dt.date:
        return min(
            day for day in (kit.inspection_due, kit.retire_on, dt.date.max) if day
        )

    head = [
        words.say(f"desk.due_{key}")
        for key in ("kit", "team", "inspection", "retire", "state")
    ]
    return [
        head,
        *(
            [
                kit.id,
                kit.team or words.say("desk.due_spare"),
                _day(kit.inspection_due, words),
                _day(kit.retire_on, words),
                words.say("desk.due_late" if soonest(kit) < date else "desk.due_good")
                if kit.inspection_due or kit.retire_on
                else words.say("desk.due_unknown"),
            ]
            for kit in sorted(lift.kits, key=lambda kit: (soonest(kit), kit.id))
        ),
    ]


def _day(day: dt.date | None, words: Words) -> str:
    return words.say("desk.due_unknown") if day is None else words.show("day", day)


def drill_rows(drill: Drill, words: Words) -> list[list[str]]:
    """Every carrier of a drill as a row of text, headings first."""
    head = [words.say(f"drill.column_{key}") for key in CARRIER_COLUMNS]
    rows = [[words.say("desk.team"), *head]]
    for team in drill.teams:
        if team.missing:
            blanks = [""] * (len(head) - 1)
            rows.append([team.team, *blanks, words.say("drill.missing")])
        else:
            rows += [
                [team.team, *carrier_row(drill, carrier, words)]
                for carrier in team.carriers
            ]
    return rows


def links_html(files: dict[str, bytes]) -> str:
    """Files as links that save them, without a server or network."""
    links = []
    for name, content in sorted(files.items()):
        coded = base64.b64encode(content).decode("ascii")
        shown = html.escape(name, quote=True)
        links.append(
            f'<li><a download="{shown.replace("/", "_")}" '
            f'href="data:application/octet-stream;base64,{coded}">{shown}</a></li>'
        )
    return f"<ul>{''.join(links)}</ul>"
