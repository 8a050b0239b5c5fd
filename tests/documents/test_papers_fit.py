"""Nothing on any paper is cut, too small, drawn over something else, or coloured."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pypdfium2
import pytest
from made_plan import make_long_lift, make_plan
from paper_text import joined, outside, overlapping, read_pages, too_small

from evac.documents.bundle import document_files
from evac.facts.plan import Plan
from evac.words import Words

ODD_SUPPORTS = (
    "Tal",
    "3-4",
    "#17",
    "Täli",
    "10/11",
    "5",
    "Mittelstation Süd",
    *"789",
    *("10", "11", "12", "13", "14"),
    "Berg",
)
LONG_NAME = "Sesselbahn Unteralp - Chüealp - Hinterer Grossspitz, Sektion 2"


def odd_plan() -> Plan:
    """Odd ids, a 60-character name, 48 carriers in one zone, a span nobody reaches."""
    lift = make_long_lift(
        name=LONG_NAME,
        support_ids=ODD_SUPPORTS,
        team_ids=(
            "10/11",
            "#17",
            "Täli Rettungskolonne Hinterland",
            "3-4",
            "Reserve <b>&",
        ),
        spacing_m=24.0,
    )
    assumption = lift.assumptions[0]
    many = tuple(
        replace(assumption, key=f"carriers.value_{number}_m") for number in range(12)
    )
    return make_plan(replace(lift, assumptions=many), zones=3, unreached_span=13)


PLANS = {
    "usual": make_plan,
    "odd": odd_plan,
    "height not known": lambda: make_plan(unknown_span=4),
}
CASES = [(name, feet) for name in PLANS for feet in (False, True)]


@cache
def papers(name: str, feet: bool) -> dict[str, bytes]:
    return document_files(PLANS[name](), Words(feet=feet))


def pdfs(name: str, feet: bool) -> dict[str, bytes]:
    return {
        file: content
        for file, content in papers(name, feet).items()
        if file.endswith(".pdf")
    }


@pytest.mark.parametrize(("name", "feet"), CASES)
def test_no_letter_leaves_the_page(name: str, feet: bool) -> None:
    # 5 mm: what common office printers cannot print (common practice, no source).
    for file, pdf in pdfs(name, feet).items():
        for number, page in enumerate(read_pages(pdf)):
            lost = outside(page, margin_mm=5.0)
            assert not lost, (file, number, "".join(item.text for item in lost))


@pytest.mark.parametrize(("name", "feet"), CASES)
def test_no_letter_is_below_nine_points(name: str, feet: bool) -> None:
    for file, pdf in pdfs(name, feet).items():
        for number, page in enumerate(read_pages(pdf)):
            assert page.letters, (file, number, "an empty page")
            small = too_small(page)
            assert not small, (file, number, "".join(item.text for item in small))


@pytest.mark.parametrize(("name", "feet"), CASES)
def test_no_text_is_written_over_another(name: str, feet: bool) -> None:
    for file, pdf in pdfs(name, feet).items():
        for number, page in enumerate(read_pages(pdf)):
            pairs = [(a.text, b.text) for a, b in overlapping(page)]
            assert not pairs, (file, number, pairs[:8])


@pytest.mark.parametrize(("name", "feet"), CASES)
def test_a_team_sheet_has_at_most_two_pages(name: str, feet: bool) -> None:
    sheets = {f: p for f, p in pdfs(name, feet).items() if f.startswith("sheets/")}
    assert sheets
    for file, pdf in sheets.items():
        assert len(read_pages(pdf)) <= 2, file


def test_the_odd_plan_really_is_odd() -> None:
    plan = odd_plan()
    teams = [rescue.team for rescue in plan.schedule.rescues]
    assert max(teams.count(team) for team in teams) >= 45
    assert len(LONG_NAME) >= 60


def test_the_long_name_and_the_odd_ids_stand_whole_on_the_papers() -> None:
    files = papers("odd", False)
    document = "".join(page.joined for page in read_pages(files["plan.pdf"]))
    sheets = "".join(page.joined for page in read_pages(files["sheets_all.pdf"]))
    assert joined(LONG_NAME) in document
    assert joined(LONG_NAME) in sheets
    for support in ODD_SUPPORTS:
        assert joined(support) in document
    for team in odd_plan().lift.teams:
        assert joined(team.id) in document
        assert joined(team.id) in sheets


def test_papers_are_black_and_white() -> None:
    # Rendered in colour; every pixel must be a grey.
    files = papers("usual", False)
    for file in ("section.pdf", "sheets_all.pdf", "plan.pdf"):
        document = pypdfium2.PdfDocument(files[file])
        for page in document:
            pixels = page.render(scale=0.5).to_numpy().astype(int)
            spread = pixels.max(axis=2) - pixels.min(axis=2)
            assert int(spread.max()) <= 2, file
            assert int(np.count_nonzero(pixels < 250)) > 100, file
            page.close()
        document.close()


def test_two_runs_give_the_same_bytes() -> None:
    first = document_files(make_plan(), Words())
    second = document_files(make_plan(), Words())
    assert first.keys() == second.keys()
    for name, content in first.items():
        assert _difference(content, second[name]) == "", name


def _difference(one: bytes, other: bytes) -> str:
    """Where two files begin to differ, with what stands there; "" if nowhere."""
    if one == other:
        return ""
    places = zip(one, other, strict=False)
    at = next((n for n, (a, b) in enumerate(places) if a != b), len(one))
    return f"at {at}: {one[at - 40 : at + 40]!r} {other[at - 40 : at + 40]!r}"


def test_sheet_pages_are_upright_a4_and_the_section_is_a3_landscape() -> None:
    # ISO 216: A4 is 210 mm x 297 mm, A3 is 297 mm x 420 mm.
    files = papers("usual", False)
    points_a_mm = 72 / 25.4
    for page in read_pages(files["sheets_all.pdf"]):
        assert page.width == pytest.approx(210 * points_a_mm, abs=0.2)
        assert page.height == pytest.approx(297 * points_a_mm, abs=0.2)
    (section,) = read_pages(files["section.pdf"])
    assert section.width == pytest.approx(420 * points_a_mm, abs=0.2)
    assert section.height == pytest.approx(297 * points_a_mm, abs=0.2)
