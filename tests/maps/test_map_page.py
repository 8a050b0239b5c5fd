"""The map opens from disk, asks no network, and shows text as text."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import made_plan
import pytest
from paper_text import joined, read_pages
from playwright.sync_api import Browser, Page

from evac.documents.bundle import section_files
from evac.errors import EvacError
from evac.facts.plan import Plan
from evac.frame import Frame
from evac.maps import map_html
from evac.maps.assets import offline_page
from evac.maps.layers import zone_layer
from evac.words import Words

HOSTILE = (
    '<script>window.broken=1</script> "q" & `${window.broken=1}` =1+1 # č ß ł ≤ → ° '
    "Канатная 白馬 {{ 7 * 7 }} </script>"
)


@pytest.fixture(scope="module")
def page_bytes() -> bytes:
    return map_html(made_plan.make_plan(), Words())


def test_the_same_plan_gives_the_same_page(page_bytes: bytes) -> None:
    assert map_html(made_plan.make_plan(), Words()) == page_bytes


def test_the_page_carries_the_cautions_and_the_lifts_name(page_bytes: bytes) -> None:
    text = page_bytes.decode("utf-8")
    assert Words().say("cautions.short") in text
    assert "evacuation map" in text


def test_an_asset_that_is_not_shipped_is_refused() -> None:
    with pytest.raises(EvacError, match="not shipped for offline use"):
        offline_page('<script src="https://example.org/strange.js"></script>')


@pytest.mark.browser
@pytest.mark.parametrize("width", [390, 1400])
def test_the_map_opens_offline_without_request_or_error(
    width: int, page_bytes: bytes, tmp_path: Path, chromium: Browser
) -> None:
    path = tmp_path / "map.html"
    path.write_bytes(page_bytes)
    context = chromium.new_context(
        viewport={"width": width, "height": 844}, offline=True
    )
    page = context.new_page()
    requests: list[str] = []
    errors: list[str] = []
    page.on("request", lambda request: requests.append(request.url))
    page.on("console", lambda message: errors.append(message.text))
    page.on("pageerror", lambda error: errors.append(str(error)))

    page.goto(path.as_uri())
    page.wait_for_selector(".mark .support")

    assert [url for url in requests if not url.startswith("data:")] == [path.as_uri()]
    assert errors == []
    plan = made_plan.make_plan()
    shown = page.locator(".mark .support").all_text_contents()
    assert shown == [support.id for support in plan.lift.supports]
    # Both ends of the line are never left out for want of room.
    visible = page.locator(".mark .support:visible").all_inner_texts()
    assert {plan.lift.supports[0].id, plan.lift.supports[-1].id} <= set(visible)
    # Nothing is wider than the screen.
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    # A keyboard reaches the legend and every support.
    page.locator("details.legend summary").focus()
    page.keyboard.press("Enter")
    assert page.locator("details.legend").get_attribute("open") == (
        None if width > 900 else ""
    )
    context.close()


def opened(plan: Plan, tmp_path: Path, chromium: Browser, *, width: int = 1400) -> Page:
    path = tmp_path / "map.html"
    path.write_bytes(map_html(plan, Words()))
    page = chromium.new_page(viewport={"width": width, "height": 844})
    page.goto(path.as_uri())
    page.wait_for_selector(".mark .support")
    return page


Box = dict[str, float]


def boxes(page: Page, selector: str) -> list[Box]:
    found: list[Box] = page.evaluate(
        """selector => [...document.querySelectorAll(selector)]
        .filter(item => getComputedStyle(item).visibility === 'visible')
        .map(item => item.getBoundingClientRect().toJSON())""",
        selector,
    )
    return found


def cover(one: Box, other: Box) -> float:
    """How far two boxes of the page run into each other, in pixels; 0: not at all."""
    across = min(one["right"], other["right"]) - max(one["left"], other["left"])
    up = min(one["bottom"], other["bottom"]) - max(one["top"], other["top"])
    return max(min(across, up), 0.0)


@pytest.mark.browser
@pytest.mark.parametrize("width", [390, 1400])
def test_labels_lie_side_by_side_and_inside_the_map(
    width: int, tmp_path: Path, chromium: Browser
) -> None:
    page = opened(made_plan.make_plan(), tmp_path, chromium, width=width)
    found = boxes(page, ".mark span:not(.contour)")
    (frame,) = boxes(page, ".folium-map")
    assert len(found) > 15
    for number, one in enumerate(found):
        # Two pixels: the borders of neighbours may touch.
        assert not [other for other in found[:number] if cover(one, other) > 2]
    for name in boxes(page, ".mark .zone"):
        assert name["left"] >= frame["left"]
        assert name["right"] <= frame["right"]
    page.close()


@pytest.mark.browser
@pytest.mark.parametrize("length_share", [1.0, 0.1])
def test_the_legend_covers_nothing_of_the_line(
    length_share: float, tmp_path: Path, chromium: Browser
) -> None:
    # A short lift fills the view as a long one does.
    plan = made_plan.make_plan()
    supports = tuple(
        replace(item, x_m=item.x_m * length_share, y_m=item.y_m * length_share)
        for item in plan.lift.supports
    )
    page = opened(
        replace(plan, lift=replace(plan.lift, supports=supports)), tmp_path, chromium
    )
    (legend,) = boxes(page, "details.legend")
    (frame,) = boxes(page, ".folium-map")
    assert cover(legend, frame) <= 1
    for support in boxes(page, ".mark .end"):
        assert cover(support, frame) > 10
    page.close()


@pytest.mark.browser
def test_both_sides_and_their_zones_are_apart_however_far_out(
    tmp_path: Path, chromium: Browser
) -> None:
    page = opened(made_plan.make_plan(), tmp_path, chromium, width=390)
    # Reach of both sides and zones of both sides: four bands, 11 px and 22 px out.
    spread = page.evaluate(
        """() => { const map = Object.values(window).find(v => v instanceof L.Map);
        const px = []; map.eachLayer(layer => { if (layer.evac) {
          const item = layer.evac, at = map.latLngToContainerPoint(item.base[0]);
          const end = map.latLngToContainerPoint(layer.getLatLngs()[0]);
          px.push(at.distanceTo(end)); }});
        return px; }"""
    )
    # 1.5 px: both places are rounded to whole pixels across and down.
    assert min(spread) == pytest.approx(11, abs=1.5)
    assert max(spread) == pytest.approx(22, abs=2.0)
    page.close()


@pytest.mark.browser
def test_the_map_prints_whole_on_one_page(tmp_path: Path, chromium: Browser) -> None:
    page = opened(made_plan.make_plan(), tmp_path, chromium)
    before = page.evaluate("document.querySelector('.folium-map').clientWidth")
    (paper,) = read_pages(page.pdf(prefer_css_page_size=True))
    # ISO 216: A4; the invented line runs north, so the page stands upright.
    assert (paper.width, paper.height) == pytest.approx((595.3, 841.9), abs=1.0)
    plan = made_plan.make_plan()
    for text in (
        "evacuation map",
        "solid: every kit reaches",
        Words().say("cautions.short"),
        *(zone.team for zone in plan.assignment.zones),
    ):
        assert joined(text) in paper.joined
    assert page.evaluate("document.querySelector('.folium-map').clientWidth") == before
    page.close()


@pytest.mark.browser
def test_a_keyboard_reads_height_margin_reach_and_team_of_a_span(
    tmp_path: Path, chromium: Browser
) -> None:
    plan = made_plan.make_plan()
    page = opened(plan, tmp_path, chromium)
    page.locator("details.legend summary").focus()
    unit = plan.heights.units[0]
    for _ in range(200):
        page.keyboard.press("Tab")
        tips = page.locator(".leaflet-tooltip").all_inner_texts()
        if any(tip.startswith(f"Span {unit.span_id}, ascending") for tip in tips):
            break
    else:
        pytest.fail("no tab stop shows the span")
    (tip,) = [tip for tip in tips if tip.startswith("Span")]
    assert f"{unit.seat_greatest_m:.1f} m" in tip
    assert "± 0.6 m" in tip
    assert "Team 1" in tip
    page.close()


@pytest.mark.browser
def test_a_plan_that_fails_says_so_above_the_map(
    tmp_path: Path, chromium: Browser
) -> None:
    page = opened(made_plan.make_plan(unreached_span=13), tmp_path, chromium)
    head = page.locator("header").inner_text()
    assert "THIS PLAN DOES NOT REACH EVERYONE" in head
    assert page.locator(".mark .alarm").count() == 2
    page.close()


def test_a_span_that_is_walked_past_is_a_gap_in_its_zones_band() -> None:
    usual = made_plan.make_plan()
    passed = made_plan.walked_past(usual, span=7)

    def bands(plan: Plan) -> list[tuple[str, int]]:
        frame = Frame(
            latitude_deg=plan.lift.latitude_deg, longitude_deg=plan.lift.longitude_deg
        )
        (layer,) = [
            child
            for child in zone_layer(plan, frame, Words())._children.values()
            if hasattr(child, "items")
        ]
        return [
            (str(item["text"]), len(item["base"]) - 1)  # type: ignore[arg-type]  # JSON
            for item in layer.items
        ]

    # Team 2 has spans 5 to 9 on both sides; without 7 two bands of two spans a side.
    assert sorted(n for text, n in bands(usual) if "Team 2" in text) == [5, 5]
    split = [(text, n) for text, n in bands(passed) if "Team 2" in text]
    assert [n for _, n in split] == [2, 2, 2, 2]
    assert "Walks past 7-8 ascending side, 7-8 descending side." in split[0][0]
    page = map_html(passed, Words()).decode("utf-8")
    said = re.findall(r"Span 7-8, [^\"]*?Team: (\w+)", page)
    assert said
    assert set(said) == {"none"}


@pytest.mark.browser
def test_hostile_names_come_out_as_the_same_text(
    tmp_path: Path, chromium: Browser
) -> None:
    lift = made_plan.make_long_lift(
        name=HOSTILE,
        support_ids=("Tal", "3-4", "#17", "Täli", "10/11", f"5{HOSTILE}", "Berg"),
        team_ids=(f"A{HOSTILE}", "Team 2", "Team 3"),
    )
    huts = tuple(replace(point, name=HOSTILE) for point in lift.muster_points)
    hazards = tuple(
        replace(item, name=HOSTILE, opened_by=HOSTILE) for item in lift.hazards
    )
    ways = tuple(replace(way, name=HOSTILE) for way in lift.ways)
    lift = replace(lift, muster_points=huts, hazards=hazards, ways=ways)
    page = opened(made_plan.make_plan(lift), tmp_path, chromium)
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))

    assert HOSTILE in page.locator("header h1").inner_text()
    shown = page.locator(".mark .support").all_text_contents()
    assert shown == [support.id for support in lift.supports]
    assert f"A{HOSTILE}" in page.locator(".mark .zone").all_text_contents()
    for mark in ("muster", "hazard", "zone", "support >> nth=5"):
        page.locator(f".mark .{mark}").first.hover(force=True)
        page.wait_for_selector(".leaflet-tooltip")
        assert HOSTILE in page.locator(".leaflet-tooltip").first.inner_text(), mark
    assert page.evaluate("window.broken") is None
    assert errors == []
    page.close()


def marks(page: bytes) -> str:
    """The page with the signs that its scripts spell as codes."""
    return re.sub(
        r"\\u([0-9a-f]{4})", lambda code: chr(int(code[1], 16)), page.decode("utf-8")
    )


def test_where_some_kits_reach_the_map_does_not_say_that_they_are_the_longer() -> None:
    # A rescuer's 40 m may reach where a loop of 60 m does not: length alone says
    # nothing between techniques.
    plan = made_plan.make_plan()
    short = tuple(
        replace(item, ok=item.ok and item.option_index > 0) for item in plan.reaches
    )
    page = marks(map_html(replace(plan, reaches=short), Words()))
    total = len(plan.work.options)
    assert f"Only some kits reach ({total - 1} of {total} kits)" in page
    assert "longer kits" not in page


def test_heights_on_the_map_are_those_of_the_papers_to_a_tenth() -> None:
    plan = made_plan.make_plan(unreached_span=3)
    units = tuple(
        replace(unit, seat_greatest_m=6.4 + 0.5 * unit.span_index, margin_m=0.8)
        for unit in plan.heights.units
    )
    plan = replace(plan, heights=replace(plan.heights, units=units))
    page = marks(map_html(plan, Words()))
    # Seat and margin are never rounded apart: 6.4 +- 0.8 is not 6 +- 1, which is less.
    assert page.count(">6.4±0.8<") == 2
    document = "".join(
        item.joined for item in read_pages(section_files(plan, Words())["section.pdf"])
    )
    for unit in units:
        text = Words().number(unit.seat_greatest_m, 1)
        sign = "X " if unit.span_index == 3 else ""
        assert f">{sign}{text}±0.8<" in page, unit.span_id
        assert joined(f"{text} ±0.8") in document


def test_the_map_shows_feet_where_they_are_asked_for() -> None:
    plan = made_plan.make_plan()
    page = marks(map_html(plan, Words(feet=True)))
    seat_m = plan.heights.units[0].seat_greatest_m
    # 1 ft = 0.3048 m exactly.
    assert f"\\n({seat_m / 0.3048:.0f} ft)<" in page
    assert re.search(r"Contour lines every \d+ m \(\d+ ft\)", page)


def crowded_plan() -> Plan:
    """Zones of one side each, with names longer than their bands on a phone."""
    names = [f"Mountain rescue {number}" for number in range(9)]
    plan = made_plan.make_plan(made_plan.make_long_lift(team_ids=tuple(names)))
    zones = plan.assignment.zones
    split = [
        replace(zone, sides=(side,), team=zone.team if first else f"{zone.team} too")
        for zone in zones[:4]
        for first, side in enumerate(zone.sides)
    ]
    return replace(
        plan, assignment=replace(plan.assignment, zones=(*split, *zones[4:]))
    )


@pytest.mark.browser
@pytest.mark.parametrize("width", [390, 1400])
def test_names_of_many_zones_lie_apart_and_a_line_leads_to_each(
    width: int, tmp_path: Path, chromium: Browser
) -> None:
    page = opened(crowded_plan(), tmp_path, chromium, width=width)
    names = boxes(page, ".mark .zone")
    assert len(names) == len(crowded_plan().assignment.zones)
    for number, one in enumerate(names):
        assert not [other for other in names[:number] if cover(one, other) > 2]
    # Each line ends under its name: its box reaches into that of the name.
    lines = boxes(page, ".mark i")
    assert len(lines) == len(names)
    assert all(
        any(cover(line, name) > 0 for name in names) and line["width"] > 0
        for line in lines
    )
    page.close()


@pytest.mark.browser
def test_no_mark_hides_below_the_buttons(tmp_path: Path, chromium: Browser) -> None:
    plan = made_plan.make_plan()
    page = opened(plan, tmp_path, chromium)
    # A team that starts where the buttons stand.
    (button,) = boxes(page, ".leaflet-control-zoom")
    place = page.evaluate(
        """box => { const map = Object.values(window).find(v => v instanceof L.Map);
        const frame = map.getContainer().getBoundingClientRect();
        const place = map.containerPointToLatLng([box.x - frame.left + box.width / 2,
          box.y - frame.top + box.height / 2]);
        return [place.lat, place.lng]; }""",
        button,
    )
    page.close()
    frame = Frame(
        latitude_deg=plan.lift.latitude_deg, longitude_deg=plan.lift.longitude_deg
    )
    x_m, y_m = frame.from_degrees(latitude_deg=[place[0]], longitude_deg=[place[1]])
    teams = (
        replace(plan.lift.teams[0], start_x_m=float(x_m[0]), start_y_m=float(y_m[0])),
        *plan.lift.teams[1:],
    )
    page = opened(
        replace(plan, lift=replace(plan.lift, teams=teams)), tmp_path, chromium
    )
    for control in boxes(page, ".leaflet-control"):
        for mark in boxes(page, ".mark .start"):
            assert cover(control, mark) <= 2
    page.close()


def test_whose_data_they_are_stands_on_the_map() -> None:
    # ODbL 1.0, 4.3: whoever sees a produced work must see whose data it is made from.
    source = "© OpenStreetMap contributors, ODbL 1.0"
    plain = made_plan.make_plan()
    drawn = replace(plain.lift, data_source=source)
    page = map_html(replace(plain, lift=drawn), Words()).decode("utf-8")
    assert f"Line, ways and hazards: {source}." in page
    assert "Line, ways and hazards" not in map_html(plain, Words()).decode("utf-8")
