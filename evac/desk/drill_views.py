"""Draw a drill and look at its papers."""

from __future__ import annotations

import base64
import html

import ipywidgets as widgets

from evac.desk.plan_views import picture_of, table_html
from evac.desk.workbench import Workbench, quietly, sentence_html
from evac.documents.drill_papers import (
    CARRIER_COLUMNS,
    carrier_row,
    drill_files,
    drill_pictures,
)
from evac.errors import EvacError
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
