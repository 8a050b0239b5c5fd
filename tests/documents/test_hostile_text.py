"""Whatever a name holds, it is printed as it stands, never read as code or markup."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest
from made_plan import make_long_lift, make_plan
from paper_text import joined, read_pages

from evac.documents.bundle import document_files
from evac.documents.drill_papers import drill_files
from evac.documents.glyphs import missing_glyphs
from evac.facts.lift import Lift
from evac.rehearsal import draw_drill
from evac.words import Words

PIECES = (
    "<script>alert(1)</script>",
    '"quoted" & &amp; \'s',
    "=1+1",
    "#17 #let x",
    "*strong* _it_ $x^2$",
    "[link](a) @ref ~ \\",
    "č ß ł ≤ → °",
    "Канатная дорога",
    "{braces} {0} %s",
)


def hostile_lift() -> Lift:
    """A lift with one piece in every field that a person writes."""
    lift = make_long_lift()
    every = " ".join(PIECES)
    hazard = lift.hazards[0]
    return replace(
        lift,
        name=PIECES[0],
        operator=every,
        hazards=tuple(
            replace(hazard, id=f"h{number}", name=piece, note=piece)
            for number, piece in enumerate(PIECES)
        ),
        muster_points=(replace(lift.muster_points[0], name=PIECES[1]),),
        plan_texts={"authority": every, "informing": PIECES[4]},
        assumptions=(replace(lift.assumptions[0], reason=every),),
        kits=tuple(replace(kit, stored_at=PIECES[3]) for kit in lift.kits),
        teams=tuple(replace(team, start_place=PIECES[4]) for team in lift.teams),
    )


@pytest.fixture(scope="module")
def files() -> dict[str, bytes]:
    lift = hostile_lift()
    plan = make_plan(lift)
    # Every hazard lies below span 1-2, so that it stands on a sheet.
    ids = tuple(hazard.id for hazard in lift.hazards)
    gates = tuple(
        replace(gate, hazard_ids=ids if gate.span_index == 1 else ())
        for gate in plan.gates
    )
    return document_files(replace(plan, gates=gates), Words())


@pytest.mark.parametrize("piece", PIECES)
def test_a_piece_comes_out_as_the_same_text(
    piece: str, files: dict[str, bytes]
) -> None:
    for name in ("plan.pdf", "sheets/Team_1.pdf", "section.pdf"):
        text = "".join(page.joined for page in read_pages(files[name]))
        assert joined(piece) in text, name


def test_the_section_as_svg_holds_the_same_text(files: dict[str, bytes]) -> None:
    root = ET.fromstring(files["section.svg"])  # noqa: S314  # our own file
    texts = joined("".join(root.itertext()))
    for piece in PIECES:
        assert joined(piece) in texts
    tags = {element.tag.split("}")[-1] for element in root.iter()}
    assert "script" not in tags


def test_letters_that_the_font_lacks_are_named_by_a_finding() -> None:
    lift = replace(make_long_lift(), name="白馬 リフト")
    (finding,) = missing_glyphs(lift)
    text, remedy = Words().finding(finding)
    for letter in "白馬リフト":
        assert f"{letter} (U+{ord(letter):04X})" in text
    assert remedy
    files = document_files(make_plan(lift), Words())
    document = "".join(page.joined for page in read_pages(files["plan.pdf"]))
    # The letters themselves are kept, and the finding stands in the document.
    assert "白馬リフト" in document
    assert f"U+{ord('馬'):04X}" in document


def test_latin_greek_and_cyrillic_need_no_finding() -> None:
    lift = replace(make_long_lift(), name="Łąka žluťoučký Ωμέγα Подъёмник ≤ → °")
    assert missing_glyphs(lift) == ()


def test_control_characters_do_not_break_the_drawings() -> None:
    lift = make_long_lift()
    hazard = replace(lift.hazards[0], name="bell\x07 and\ttab")
    files = document_files(make_plan(replace(lift, hazards=(hazard,))), Words())
    ET.fromstring(files["section.svg"])  # noqa: S314  # our own file


def test_drill_papers_print_hostile_names_as_the_same_text() -> None:
    lift = hostile_lift()
    teams = tuple(
        replace(team, id=PIECES[number]) for number, team in enumerate(lift.teams)
    )
    ids = {old.id: new.id for old, new in zip(lift.teams, teams, strict=True)}
    kits = tuple(replace(kit, team=ids[kit.team or ""]) for kit in lift.kits)
    plan = make_plan(replace(lift, teams=teams, kits=kits))
    files = drill_files(draw_drill(plan, seed=3), plan.lift, Words())
    texts = {
        name: "".join(page.joined for page in read_pages(content))
        for name, content in files.items()
        if name.endswith(".pdf")
    }
    assert texts
    for name, text in texts.items():
        assert joined(PIECES[0]) in text, name
    every = "".join(texts.values())
    for team in teams[: len(plan.assignment.zones)]:
        assert joined(team.id) in every
