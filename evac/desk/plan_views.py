"""What the plan says, as widgets: verdict, zones, findings, map and one sheet."""

from __future__ import annotations

import html

import ipywidgets as widgets

from evac.desk.workbench import Workbench, quietly, sentence_html
from evac.documents.bundle import sheet_pictures
from evac.documents.names import not_yours_text
from evac.facts.lift import Limit
from evac.facts.plan import Plan
from evac.facts.work import LatestOrder, Zone
from evac.figures.doubt import BOUNDS_VERDICT, of_reached, reach_in_doubt
from evac.limits import limit_verdict
from evac.maps import map_html
from evac.words import Words


def verdict(bench: Workbench) -> widgets.HTML:
    """Is everyone reached, is the limit met, by when must the order be given."""
    box = widgets.HTML()

    def show(plan: Plan | None) -> None:
        if plan is None:
            box.value = ""
            return
        lines = verdict_lines(plan, bench.words)
        first, rest = sentence_html("\n".join(lines[:2])), sentence_html(lines[2])
        box.value = f"<b>{first}</b>{rest}"

    bench.follow(show)
    return box


def verdict_lines(plan: Plan, words: Words) -> tuple[str, str, str]:
    """Three texts: reach; every limit, and what bounds that verdict; times."""
    spans = plan.heights.line.spans
    units = ", ".join(
        f"{spans[item.span_index].id} {item.side.value}"
        for item in plan.assignment.uncovered
    )
    if not plan.everyone_reached:
        reached = words.say("desk.verdict_not_reached", units=units)
    elif reach_in_doubt(plan):
        reached = words.say("desk.verdict_doubtful")
    else:
        reached = words.say("desk.verdict_reached")
    if plan.limit_met is None:
        limit = words.say("desk.verdict_no_limit")
    else:
        limit = " ".join(
            _limit_sentence(plan, item, words) for item in plan.lift.limits
        )
    bounds = [f for f in plan.findings if f.key.startswith(BOUNDS_VERDICT)]
    limit = " ".join([limit, *(words.finding(finding)[0] for finding in bounds)])
    times = words.say(
        of_reached(plan, "desk.verdict_times"),
        p50_s=plan.simulation.p50_s,
        p90_s=plan.simulation.p90_s,
        latest=latest_text(plan.clock.binding, words),
    )
    return reached, limit, times


def _limit_sentence(plan: Plan, limit: Limit, words: Words) -> str:
    return words.say(
        f"desk.verdict_limit_{limit_verdict(limit, plan.simulation)}",
        limit_min=limit.minutes,
        counts_from=limit.counts_from,
        counts_to=limit.counts_to,
    )


def latest_text(binding: LatestOrder | None, words: Words) -> str:
    """By when the order must be given, and why."""
    if binding is None:
        return words.say("desk.latest_none")
    if binding.lost:
        return words.say(
            "desk.latest_lost", reason=words.say(f"clock.{binding.reason}")
        )
    # Rounded down: a latest time must never be shown later.
    after_s = 60 * (binding.after_stop_s // 60)
    return words.say(
        "desk.latest_at" if after_s >= 0 else "desk.latest_past",
        after_s=abs(after_s),
        at_clock_s=binding.clock_s,
        reason=words.say(f"clock.{binding.reason}"),
    )


def zones(bench: Workbench) -> widgets.HTML:
    """Which team clears which spans, as a table."""
    box = widgets.HTML()

    def show(plan: Plan | None) -> None:
        box.value = "" if plan is None else table_html(zone_rows(plan, bench.words))

    bench.follow(show)
    return box


def zone_rows(plan: Plan, words: Words) -> list[list[str]]:
    """Every zone of a plan as a row of text, headings first."""
    keys = ("team", "spans", "sides", "gear", "clear")
    rows = [[words.say(f"desk.zones_{key}") for key in keys]]
    return rows + [
        [
            zone.team,
            _spans_text(plan, zone, words),
            ", ".join(side.value for side in zone.sides),
            f"{zone.option.technique}, {zone.option.kit}",
            words.duration(zone.finish_s),
        ]
        for zone in plan.assignment.zones
    ]


def _spans_text(plan: Plan, zone: Zone, words: Words) -> str:
    """First and last span of a zone, and those between that its team walks past."""
    spans = plan.heights.line.spans
    text = f"{spans[zone.first_span].id} .. {spans[zone.last_span].id}"
    passed = not_yours_text(plan, [zone], words)
    return words.say("plandoc.zone_but", zone=text, units=passed) if passed else text


def findings(bench: Workbench) -> widgets.HTML:
    """What the plan must say, the gravest first."""
    box = widgets.HTML()

    def show(plan: Plan | None) -> None:
        if plan is None:
            box.value = ""
            return
        rows = [["", bench.words.say("desk.findings"), ""]]
        rows += [
            [
                bench.words.say(f"summary.severity_{finding.severity.value}"),
                *bench.words.finding(finding),
            ]
            for finding in plan.findings
        ]
        box.value = table_html(rows)

    bench.follow(show)
    return box


def the_map(bench: Workbench) -> widgets.HTML:
    """The map, in a frame of its own."""
    box = widgets.HTML()

    def show(plan: Plan | None) -> None:
        if plan is None:
            box.value = ""
            return
        page = html.escape(map_html(plan, bench.words).decode("utf-8"), quote=True)
        title = html.escape(bench.words.say("desk.map_title"), quote=True)
        box.value = (
            f'<iframe srcdoc="{page}" title="{title}" '
            'style="width:100%;height:640px;border:1px solid #000"></iframe>'
        )

    bench.follow(show)
    return box


def the_sheet(bench: Workbench) -> widgets.VBox:
    """One team's sheet, chosen from a drop-down, as it is printed."""
    team = widgets.Dropdown(description=bench.words.say("desk.team"))
    pages = widgets.VBox()

    def show(_change: object = None) -> None:
        pages.children = ()
        if bench.plan is None or team.value is None:
            return
        pages.children = tuple(
            picture_of(page)
            for page in sheet_pictures(bench.plan, team.value, bench.words)
        )

    def follow(plan: Plan | None) -> None:
        with quietly(show, team):
            team.options = () if plan is None else _teams(plan)
            team.index = 0 if team.options else None
        show()

    team.observe(show, names="value")
    bench.follow(follow)
    return widgets.VBox([team, pages])


def _teams(plan: Plan) -> tuple[str, ...]:
    """Teams with a zone first, in order of their zones; then the others."""
    busy = [zone.team for zone in plan.assignment.zones]
    return tuple(dict.fromkeys([*busy, *(team.id for team in plan.lift.teams)]))


def picture_of(page: bytes) -> widgets.Image:
    """One page of a paper, as it is printed."""
    return widgets.Image(
        value=page,
        format="png",
        layout={"max_width": "850px", "border": "1px solid #000"},
    )


def table_html(rows: list[list[str]]) -> str:
    """A plain table; the first row holds the headings; nothing is read as markup."""
    head, *body = rows
    cells = "".join(f"<th style='text-align:left'>{html.escape(c)}</th>" for c in head)
    lines = "".join(
        "<tr>" + "".join(f"<td>{html.escape(cell)}</td>" for cell in row) + "</tr>"
        for row in body
    )
    return (
        "<table style='border-spacing:12px 3px;font-size:14px;line-height:1.3'>"
        f"<tr>{cells}</tr>{lines}</table>"
    )
