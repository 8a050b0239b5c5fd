"""The line section says what it claims, measured on the printed page."""

from __future__ import annotations

import re

import pytest
from made_plan import make_plan
from paper_text import MM_PER_PT, Letter, Page, joined, read_pages

from evac.documents.bundle import section_files
from evac.figures.reach import reach_lines
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
    for line in reach_lines(plan.lift):
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
    lines = {line.kits: line for line in reach_lines(make_plan().lift)}
    assert lines["K3",].rope_height_m == pytest.approx(14.0, abs=0.05)
    assert lines["K1",].rope_height_m == pytest.approx(21.17, abs=0.06)
