"""The short summary that the command line prints: verdict first, cautions last."""

from __future__ import annotations

from rich.console import Console, Group
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from evac.assignment import last_finish_s, team_of_unit
from evac.documents.names import runs_text
from evac.facts.finding import Severity
from evac.facts.heights import UnitHeights
from evac.facts.lift import Side
from evac.facts.plan import Plan
from evac.facts.work import Zone
from evac.figures.carrier_words import say_of
from evac.figures.doubt import of_reached, reach_in_doubt
from evac.figures.taken import units_passed, units_taken
from evac.limits import limit_verdict
from evac.words import Words


def print_summary(console: Console, plan: Plan, words: Words, *, written: str) -> None:
    """Print what a mechanic must know before opening the papers.

    `written` is the sentence that says where the papers are; the cautions end it all.
    """
    for part in (
        _head(plan, words),
        _spans(plan, words),
        _zones(plan, words),
        _times(plan, words),
        _findings(plan, words),
        _line(written),
        _cautions(words),
    ):
        console.print(part)


def _line(text: str, style: str = "") -> Text:
    # Text is never read as markup: names may hold brackets.
    return Text(text, style=style)


def _head(plan: Plan, words: Words) -> Group:
    lift = plan.lift
    lines = [
        _line(
            words.say(
                "summary.title", lift=lift.name, kind=lift.kind, revision=lift.revision
            ),
            "bold",
        )
    ]
    if plan.everyone_reached and reach_in_doubt(plan):
        lines.append(_line(words.say("summary.reached_doubtful"), "bold yellow"))
    elif plan.everyone_reached:
        lines.append(_line(words.say("summary.reached"), "green"))
    else:
        missing = plan.assignment.uncovered
        spans = plan.heights.line.spans
        lines.append(
            _line(
                words.say(
                    "summary.not_reached",
                    places=words.say(
                        "plandoc.places", count=sum(item.people for item in missing)
                    ),
                    count=len(missing),
                    units=", ".join(
                        f"{spans[item.span_index].id} {item.side.value}"
                        for item in missing
                    ),
                ),
                "bold red",
            )
        )
    for limit in lift.limits:
        verdict = limit_verdict(limit, plan.simulation)
        lines.append(
            _line(
                words.say(
                    f"summary.limit_{verdict}",
                    limit_min=limit.minutes,
                    counts_from=limit.counts_from,
                    counts_to=limit.counts_to,
                ),
                "green" if verdict == "met" else "bold red",
            )
        )
    if not lift.limits:
        lines.append(_line(words.say("summary.no_limit"), "yellow"))
    return Group(*lines)


def _spans(plan: Plan, words: Words) -> Table:
    title = say_of(words, "summary.spans", plan.lift)
    table = Table(title=escape(title), title_justify="left")
    table.add_column(words.say("summary.span"))
    for side in Side:
        name = words.say(f"summary.side_{side.value}")
        for key in ("seat", "reach", "team"):
            heading = say_of(words, f"summary.{key}", plan.lift)
            table.add_column(f"{name}\n{heading}", justify="right")
    teams = team_of_unit(plan.work, plan.assignment.zones)
    units = {(unit.side, unit.span_index): unit for unit in plan.heights.units}
    for span in plan.heights.line.spans:
        cells = [escape(span.id)]
        for side in Side:
            unit = units[side, span.index]
            cells += [
                words.length(unit.seat_greatest_m)
                if unit.known
                else words.say("summary.height_unknown"),
                _reach_of(plan, unit, words),
                escape(teams.get((side, span.index), words.say("summary.nobody"))),
            ]
        table.add_row(*cells)
    return table


def _reach_of(plan: Plan, unit: UnitHeights, words: Words) -> str:
    answers = [
        reach.ok
        for reach in plan.reaches
        if (reach.side, reach.span_index) == (unit.side, unit.span_index)
    ]
    return words.say("summary.reach_of", count=sum(answers), total=len(answers))


def _zones(plan: Plan, words: Words) -> Group:
    keys = ("team", "zone_spans", "zone_sides", "zone_gear", "zone_enters")
    table = Table(title=words.say("summary.zones"), title_justify="left")
    for key in keys:
        table.add_column(words.say(f"summary.{key}"))
    for key in ("zone_arrives", "zone_clear"):
        table.add_column(words.say(f"summary.{key}"), justify="right")
    for zone in plan.assignment.zones:
        both = len(zone.sides) == 2
        table.add_row(
            escape(zone.team),
            escape(_cleared(plan, zone, words)),
            words.say(
                "summary.both" if both else f"summary.side_{zone.sides[0].value}"
            ),
            escape(f"{zone.option.technique}, {zone.option.kit}"),
            escape(plan.lift.supports[zone.start_support].id),
            words.duration(zone.arrival_s),
            words.duration(zone.finish_s),
        )
    assignment = plan.assignment
    gap_s = last_finish_s(assignment) - assignment.bound_s
    if not assignment.proven:
        proof = words.say("summary.not_proven", gap_s=gap_s)
    elif assignment.chosen_by == "likely":
        proof = words.say("summary.proven")
    else:
        proof = words.say("summary.proven_by_mean", gap_s=gap_s)
    lines = [_line(proof)]
    if assignment.reserve_teams:
        teams = ", ".join(assignment.reserve_teams)
        lines.append(_line(words.say("summary.reserve", teams=teams)))
    return Group(table, *lines)


def _cleared(plan: Plan, zone: Zone, words: Words) -> str:
    """Spans that a team clears; those it passes by on one side only are named."""
    taken, passed = units_taken(plan, [zone]), units_passed(plan, [zone])
    text = runs_text(plan, (span for _, span in taken))
    half = sorted(unit[::-1] for unit in passed if unit[1] in {s for _, s in taken})
    if not half:
        return text
    spans = plan.heights.line.spans
    units = ", ".join(
        f"{spans[span].id} {words.say(f'summary.side_{side.value}')}"
        for span, side in half
    )
    return words.say("summary.spans_but", spans=text, units=units)


def _times(plan: Plan, words: Words) -> Group:
    simulation, clock = plan.simulation, plan.clock
    lines = [
        _line(
            words.say(
                of_reached(plan, "summary.clearing"),
                clear_s=last_finish_s(plan.assignment),
                p50_s=simulation.p50_s,
                p90_s=simulation.p90_s,
                runs=simulation.runs,
            )
        ),
        _line(
            words.say(of_reached(plan, "summary.safe"), safe_s=simulation.safe_p90_s)
        ),
    ]
    binding = clock.binding
    if binding is None:
        lines.append(_line(words.say("summary.latest_none"), "yellow"))
    elif binding.lost:
        lines.append(
            _line(
                words.say(
                    of_reached(plan, "summary.latest_lost"),
                    stop_clock_s=clock.stop_clock_s,
                    reason=words.say(f"clock.{binding.reason}"),
                ),
                "bold red",
            )
        )
    elif binding.after_stop_s < 0:
        lines.append(
            _line(
                words.say(
                    of_reached(plan, "summary.latest_too_late"),
                    late_s=-binding.after_stop_s,
                    stop_clock_s=clock.stop_clock_s,
                    reason=words.say(f"clock.{binding.reason}"),
                ),
                "bold red",
            )
        )
    else:
        lines.append(
            _line(
                words.say(
                    of_reached(plan, "summary.latest"),
                    # Rounded down: a latest time must never be shown later.
                    after_s=60 * (binding.after_stop_s // 60),
                    at_clock_s=binding.clock_s,
                    stop_clock_s=clock.stop_clock_s,
                    reason=words.say(f"clock.{binding.reason}"),
                ),
                "bold",
            )
        )
    return Group(*lines)


def _findings(plan: Plan, words: Words) -> Group:
    counts = {
        severity: sum(item.severity is severity for item in plan.findings)
        for severity in Severity
    }
    lines = [
        _line(
            words.say(
                "summary.findings",
                stops=counts[Severity.STOP],
                warns=counts[Severity.WARN],
                notes=counts[Severity.NOTE],
            ),
            "bold",
        )
    ]
    styles = {Severity.STOP: "bold red", Severity.WARN: "yellow"}
    for finding in plan.findings:
        if finding.severity in styles:
            text, remedy = words.finding(finding)
            mark = words.say(f"summary.severity_{finding.severity.value}")
            lines.append(
                Text.assemble(
                    (f"{mark:5}", styles[finding.severity]), f"{text} {remedy}"
                )
            )
    if counts[Severity.NOTE]:
        lines.append(
            _line(words.say("summary.more_notes", count=counts[Severity.NOTE]), "dim")
        )
    if plan.lift.assumptions:
        lines.append(
            _line(
                words.say("summary.assumptions", count=len(plan.lift.assumptions)),
                "yellow",
            )
        )
    return Group(*lines)


def _cautions(words: Words) -> Group:
    return Group(
        _line(words.say("cautions.title"), "bold"),
        *(_line(f"- {words.say(f'cautions.c{number}')}") for number in range(1, 5)),
    )
