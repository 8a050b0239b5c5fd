"""The map opens from disk, asks no network, and shows text as text."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import made_plan
import pytest
from playwright.sync_api import Browser

from evac.errors import EvacError
from evac.maps import map_html
from evac.maps.assets import offline_page
from evac.words import Words

HOSTILE = '<script>window.broken=1</script> "q" & `${window.broken=1}` =1+1 č ß ł ≤ →'


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
    shown = page.locator(".mark .support").all_inner_texts()
    assert shown == [support.id for support in plan.lift.supports]
    # Nothing is wider than the screen.
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    # A keyboard reaches the legend and every support.
    page.locator("details.legend summary").focus()
    page.keyboard.press("Enter")
    assert page.locator("details.legend").get_attribute("open") == (
        None if width > 700 else ""
    )
    context.close()


@pytest.mark.browser
def test_hostile_names_come_out_as_the_same_text(
    tmp_path: Path, chromium: Browser
) -> None:
    plan = made_plan.make_plan()
    lift = replace(
        plan.lift,
        name=HOSTILE,
        muster_points=tuple(
            replace(point, name=HOSTILE) for point in plan.lift.muster_points
        ),
    )
    path = tmp_path / "map.html"
    path.write_bytes(map_html(replace(plan, lift=lift), Words()))
    page = chromium.new_page()
    page.goto(path.as_uri())
    page.wait_for_selector(".mark .muster")

    assert HOSTILE in page.locator("header h1").inner_text()
    page.locator(".mark .muster").first.hover(force=True)
    assert HOSTILE in page.locator(".leaflet-tooltip").inner_text()
    assert page.evaluate("window.broken") is None
    page.close()
