"""The line section says what it claims, measured on the printed page."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from made_plan import make_plan
from matplotlib.collections import LineCollection
from paper_text import MM_PER_PT, Letter, Page, joined, read_pages

from evac.documents.bundle import section_files
from evac.facts.finding import Finding, Severity
from evac.facts.lift import Side
from evac.facts.plan import Plan
from evac.facts.work import Uncovered
from evac.figures import line_section
from evac.figures.reach import reach_lines
from evac.gear import find_reaches
from evac.gear import options as gear_options
from evac.maps import map_html
from evac.words import Words


@pytest.fixture(scope="module")
def page() -> Page:
    (only,) = read_pages(section_files(make_plan(), Words())["section.pdf"])
    return only


def test_every_support_stands_with_its_number_and_height(page: Page) -> None:
    for support in make_plan().lift.supports:
        label = f"{support.id}: {support.rope_height_m:.1f} m"
        assert joined(label) in page.joined


def test_hazards_cautions_stamp_and_reach_stand_on_it(page: Page) -> None:
    plan = make_plan()
    for hazard in plan.lift.hazards:
        assert joined(f"{hazard.kind}: {hazard.name}") in page.joined
    assert joined(Words().say("cautions.short")) in page.joined
    assert joined("inputs 3f9a-77c1-20be") in page.joined
    for line in reach_lines(plan):
        assert joined(f"Reach {line.letter}: ") in page.joined
        for kit in line.kits:
            assert kit in page.joined


def _words_at(page: Page, word: str) -> list[tuple[float, float]]:
    """Middles, in millimetres, of a word wherever it stands alone on the page."""
    runs: list[list[Letter]] = []
    for letter in page.letters:
        last = runs[-1][-1] if runs else None
        if (
            last is not None
            and abs(letter.bottom - last.bottom) < 3
            and -1 < letter.left - last.right < 4
        ):
            runs[-1].append(letter)
        else:
            runs.append([letter])
    found = [run for run in runs if "".join(item.text for item in run) == word]
    return [
        (
            (run[0].left + run[-1].right) / 2 * MM_PER_PT,
            (run[0].bottom + run[0].top) / 2 * MM_PER_PT,
        )
        for run in found
    ]


def _on_distance_axis(page: Page, word: str) -> float:
    """Place across the page of a number of the lowest axis."""
    return min(_words_at(page, word), key=lambda place: place[1])[0]


def _on_elevation_axis(page: Page, word: str) -> float:
    """Height on the page of a number of the leftmost axis."""
    return min(_words_at(page, word), key=lambda place: place[0])[1]


def test_scale_and_vertical_exaggeration_are_those_of_the_page(page: Page) -> None:
    # Measured between printed axis numbers with another reader of the PDF; the
    # statement is rounded to 10 in the scale and 0.1 in the exaggeration.
    stated = re.search(r"1:([\d,]+)\. Vertical exaggeration ([\d.]+) x", page.text)
    assert stated
    mm_per_m = (_on_distance_axis(page, "1400") - _on_distance_axis(page, "200")) / 1200
    assert 1000 / mm_per_m == pytest.approx(float(stated[1].replace(",", "")), abs=10)
    mm_per_m_up = (
        _on_elevation_axis(page, "1500") - _on_elevation_axis(page, "1300")
    ) / 200
    assert mm_per_m_up / mm_per_m == pytest.approx(float(stated[2]), abs=0.06)


def test_no_kit_is_drawn_to_reach_higher_than_its_rope_allows() -> None:
    # By hand for the loop of the builders (rule 13): rope needed = (2 h + 7 + 3 + 3)
    # x 1.03 + 3 m; 50 m of rope: h = (47 / 1.03 - 13) / 2 = 16.3 m, but the throw of
    # 14 m decides. 60 m: h = (57 / 1.03 - 13) / 2 = 21.17 m, throw 25 m.
    # Printed to a tenth, rounded down: 21.1 m.
    lines = {line.kits: line for line in reach_lines(make_plan())}
    assert lines["K3",].rope_height_m == pytest.approx(14.0)
    assert lines["K1",].rope_height_m == pytest.approx(21.1)


def gully_plan() -> Plan:
    """Reaches by the gear's own rule, where the crew of span 6 stands 10 m lower."""
    plan = make_plan()
    lift = replace(
        plan.lift,
        techniques=tuple(
            replace(item, belayer_radius_m=10.0) for item in plan.lift.techniques
        ),
    )
    units = tuple(
        replace(unit, stance_greatest_m=unit.rope_greatest_m + 10.0)
        if unit.span_index == 6
        else unit
        for unit in plan.heights.units
    )
    span = plan.heights.line.spans[6]
    envelopes = {
        side: replace(
            item,
            stance_greatest_m=np.where(
                (item.distance_m >= span.start_m) & (item.distance_m <= span.end_m),
                item.rope_greatest_m + 10.0,
                item.stance_greatest_m,
            ),
        )
        for side, item in plan.heights.envelopes.items()
    }
    return replace(
        plan,
        lift=lift,
        heights=replace(plan.heights, units=units, envelopes=envelopes),
        reaches=find_reaches(lift, plan.work.options, units),
    )


def spans_drawn(plan: Plan, side: Side) -> dict[str, set[int]]:
    """Kit -> spans of a side over which a line of its reach is drawn."""
    figure = line_section(plan, words=Words())
    name = Words().say(f"figures.panel_{side.value}")
    (axes,) = (item for item in figure.axes if item.get_ylabel() == name)
    spans = plan.heights.line.spans
    found: dict[str, set[int]] = {kit.id: set() for kit in plan.lift.kits}
    for line in reach_lines(plan):
        pieces = [
            [tuple(end) for end in piece]
            for lines in axes.collections
            if isinstance(lines, LineCollection)
            for piece in lines.get_segments()
        ] + [list(zip(*item.get_data(), strict=True)) for item in axes.lines]
        for piece in pieces:
            if {round(y, 3) for _, y in piece} != {round(line.rope_height_m, 3)}:
                continue
            start_m, end_m = piece[0][0], piece[-1][0]
            over = {
                span.index
                for span in spans
                if start_m < (span.start_m + span.end_m) / 2 < end_m
            }
            for kit in line.kits:
                found[kit] |= over
    return found


@pytest.mark.parametrize("side", list(Side))
def test_a_reach_is_drawn_only_where_the_plan_says_that_the_kit_reaches(
    side: Side,
) -> None:
    plan = gully_plan()
    drawn = spans_drawn(plan, side)
    highest_m = max(
        unit.stance_greatest_m + unit.margin_m for unit in plan.heights.units
    )
    lines = {kit: line for line in reach_lines(plan) for kit in line.kits}
    for option in plan.work.options:
        reached = {
            reach.span_index
            for reach in plan.reaches
            if reach.ok and reach.side is side and reach.option_index == option.index
        }
        inside = lines[option.kit].rope_height_m < highest_m
        assert drawn[option.kit] <= reached
        assert drawn[option.kit] == reached or not inside
    # The loop of 60 m serves 21.1 m; the rope is lower, the crew's ground is not.
    (unit,) = (
        unit
        for unit in plan.heights.units
        if unit.span_index == 6 and unit.side is side
    )
    assert unit.rope_greatest_m + unit.margin_m < 21.1 < unit.stance_greatest_m + 0.6
    assert 6 not in drawn["K1"]
    assert 5 in drawn["K1"]


def test_the_letters_above_a_span_are_those_of_the_kits_that_reach_it() -> None:
    plan = gully_plan()
    lines = reach_lines(plan)
    figure = line_section(plan, words=Words())
    name = Words().say("figures.panel_ascending")
    (axes,) = (item for item in figure.axes if item.get_ylabel() == name)
    units = [unit for unit in plan.heights.units if unit.side is Side.ASCENDING]
    labels = sorted(
        (text.get_position()[0], text.get_text())
        for text in axes.texts
        if "±" in text.get_text()
    )
    assert len(labels) == len(units)
    options = {option.index: option.kit for option in plan.work.options}
    for unit, (_, text) in zip(units, labels, strict=True):
        said = text.split("\n")[-1]
        reaching = {
            options[reach.option_index]
            for reach in plan.reaches
            if reach.ok
            and (reach.side, reach.span_index) == (unit.side, unit.span_index)
        }
        letters = "".join(
            line.letter for line in lines if reaching.issuperset(line.kits)
        )
        spelled = re.sub(
            r"(\w)-(\w)",
            lambda run: "".join(map(chr, range(ord(run[1]), ord(run[2]) + 1))),
            said,
        ).replace(" ", "")
        assert spelled == ("all" if len(letters) == len(lines) else letters or "NONE")


def test_kits_that_differ_only_in_what_they_reach_have_letters_of_their_own() -> None:
    # Two equal ropes, one of them with a descender that has no energy left.
    plan = make_plan()
    kit = plan.lift.kits[1]
    assert kit.descent_energy_j is not None
    spent = replace(
        kit, id="K9", team=plan.lift.teams[0].id, descent_used_j=kit.descent_energy_j
    )
    lift = replace(plan.lift, kits=(*plan.lift.kits, spent))
    options = gear_options(lift)
    reaches = find_reaches(lift, options, plan.heights.units)
    work = replace(plan.work, options=options)
    lines = reach_lines(replace(plan, lift=lift, work=work, reaches=reaches))
    of_kit = {name: line for line in lines for name in line.kits}
    assert of_kit["K9"].letter != of_kit["K2"].letter
    assert not of_kit["K9"].reached
    assert of_kit["K2"].reached


def test_a_kit_that_the_plan_may_not_use_is_named_but_not_drawn() -> None:
    plan = make_plan()
    overdue = tuple(
        replace(kit, inspection_due=date(2020, 1, 1)) if kit.id == "K1" else kit
        for kit in plan.lift.kits
    )
    lift = replace(plan.lift, kits=overdue)
    options = gear_options(lift)
    assert "K1" not in {option.kit for option in options}
    plan = replace(
        plan,
        lift=lift,
        work=replace(plan.work, options=options),
        reaches=find_reaches(lift, options, plan.heights.units),
    )
    assert "K1" not in {kit for line in reach_lines(plan) for kit in line.kits}
    (page,) = read_pages(section_files(plan, Words())["section.pdf"])
    assert joined("not drawn: K1") in page.joined


def test_the_section_carries_the_alarms_of_cover_and_map() -> None:
    plan = make_plan(unreached_span=4)
    coarse = Finding(
        key="line.terrain_coarse",
        severity=Severity.WARN,
        where="",
        values={"cell_m": 90.0},
    )
    plan = replace(plan, findings=(*plan.findings, coarse), limit_met=False)
    (page,) = read_pages(section_files(plan, Words())["section.pdf"])
    for said in (
        "THIS PLAN DOES NOT REACH EVERYONE",
        "THE GROUND IS KNOWN TOO COARSELY TO TRUST HEIGHTS AND REACH",
        "THIS PLAN DOES NOT MEET ITS TIME LIMIT",
    ):
        assert joined(said) in page.joined
    assert page.joined.count("NONE") >= 3  # in the alarm and above both panels


def test_a_span_that_no_team_clears_is_marked_though_kits_reach_it() -> None:
    plan = make_plan()
    left = Uncovered(
        side=Side.ASCENDING,
        span_index=2,
        people=4,
        reason="no_team",
        remedy="no_team",
        values={},
    )
    plan = replace(
        plan,
        assignment=replace(plan.assignment, uncovered=(left,)),
        everyone_reached=False,
    )
    (page,) = read_pages(section_files(plan, Words())["section.pdf"])
    # Once in the alarm, once above the span.
    assert page.joined.count(joined("NO TEAM")) == 2


def test_many_kits_leave_the_drawing_its_room() -> None:
    plan = make_plan()
    kit = plan.lift.kits[0]
    many = tuple(
        replace(kit, id=f"Kit with a long name {n}", rope_length_m=40.0 + n / 2)
        for n in range(60)
    )
    lift = replace(plan.lift, kits=many)
    options = gear_options(lift)
    plan = replace(
        plan,
        lift=lift,
        work=replace(plan.work, options=options),
        reaches=find_reaches(lift, options, plan.heights.units),
    )
    (page,) = read_pages(section_files(plan, Words(feet=True))["section.pdf"])
    assert re.search(r"and \d+ more: see the plan document", page.text)
    assert joined("elevation [m]") in page.joined


def test_section_and_map_say_that_support_heights_are_assumed() -> None:
    plan = make_plan()
    said = Words().say("sheet.assumed_heights")

    def papers(*, accepted: bool) -> tuple[str, str]:
        assumed = replace(
            plan.lift.assumptions[0], key="supports.rope_height_m", accepted=accepted
        )
        now = replace(plan, lift=replace(plan.lift, assumptions=(assumed,)))
        (page,) = read_pages(section_files(now, Words())["section.pdf"])
        return page.joined, map_html(now, Words()).decode("utf-8")

    section, page = papers(accepted=False)
    assert joined(said) in section
    assert said in page
    section, page = papers(accepted=True)
    assert joined(said) not in section
    assert said not in page
