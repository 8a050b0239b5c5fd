"""Learn from drills: filled sheets in, planned against actual and learned times out."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import ipywidgets as widgets

from evac.desk.drill_views import links_html
from evac.desk.plan_views import picture_of, table_html
from evac.desk.workbench import Workbench, sentence_html
from evac.documents.drill_report import (
    acceptance,
    comparison_rows,
    evaluation_pages,
    evaluation_pdf,
    learned_rows,
    not_counted,
    took_part_rows,
)
from evac.errors import EvacError
from evac.facts.plan import Plan
from evac.facts.rehearsal import Observed, Unread
from evac.inputs.drill_times import is_sheet, times_of
from evac.rehearsal import Lesson, evaluate
from evac.tables_out import drills_csv
from evac.words import Words

_ENDINGS = (".xlsx", ".csv")
_DEPTH = 3
_WIDE = {"description_width": "initial"}


def learn_from_drills(bench: Workbench) -> widgets.VBox:
    """Pick filled observers' sheets; a click compares, learns and plans again.

    Nothing is written: the new ``drills.csv`` and the evaluation are links to save.
    Results go as soon as other sheets are picked.
    """
    words = bench.words
    found = widgets.SelectMultiple(
        description=words.say("desk.sheets_found"),
        rows=5,
        style=_WIDE,
        layout={"width": "640px"},
    )
    sent = widgets.FileUpload(
        accept=",".join(_ENDINGS),
        multiple=True,
        description=words.say("desk.sheets_send"),
        layout={"width": "260px"},
    )
    go_on = widgets.Button(
        description=words.say("desk.sheets_go"), layout={"width": "260px"}
    )
    status, text, papers = widgets.HTML(), widgets.HTML(), widgets.HTML()
    pages = widgets.VBox()

    def clear(_change: object = None) -> None:
        status.value = text.value = papers.value = ""
        pages.children = ()

    def evaluate_now(_button: object) -> None:
        clear()
        plan, lift = bench.plan, bench.lift
        if plan is None or lift is None:
            return
        status.value = sentence_html(words.say("desk.working_drill"))
        try:
            observed, unread = _read(
                _contents(found.value, sent.value),
                time_zone=lift.conditions.time_zone,
                words=words,
            )
            lesson = evaluate(lift, observed, before=plan)
            report = evaluation_pdf(lesson, unread=unread, words=words)
            pictures = evaluation_pages(lesson, unread=unread, words=words)
        except EvacError as error:
            status.value = sentence_html(str(error))
            return
        status.value = sentence_html(
            words.say("desk.sheets_read", count=len(observed), unread=len(unread))
        )
        text.value = lesson_html(lesson, unread, words)
        papers.value = links_html(
            {"evaluation.pdf": report, "drills.csv": drills_csv(lesson.records)}
        ) + sentence_html(words.say("desk.drills_csv_where"))
        pages.children = tuple(picture_of(page) for page in pictures)

    def follow(plan: Plan | None) -> None:
        clear()
        sent.value = ()
        folder = bench.folder
        found.options = (
            ()
            if plan is None or folder is None
            else [(str(path.relative_to(folder)), path) for path in sheets_in(folder)]
        )
        if plan is not None and not found.options:
            status.value = sentence_html(words.say("desk.sheets_empty"))

    for widget in (found, sent):
        widget.observe(clear, names="value")
    go_on.on_click(evaluate_now)
    bench.follow(follow)
    return widgets.VBox([found, sent, go_on, status, text, papers, pages])


def sheets_in(folder: Path) -> tuple[Path, ...]:
    """Observers' sheets in a lift folder or below it, told by their columns."""
    tried = (
        path
        for depth in range(_DEPTH)
        for path in sorted(folder.glob("/".join(["*"] * (depth + 1))))
        if path.suffix.lower() in _ENDINGS and path.is_file()
    )
    return tuple(path for path in tried if _looks_like_one(path))


def _looks_like_one(path: Path) -> bool:
    try:
        return is_sheet(path.read_bytes(), file=path.name)
    except OSError:
        return False


def _contents(
    picked: Iterable[Path], sent: Iterable[dict[str, object]]
) -> list[tuple[str, bytes]]:
    """Name and bytes of every sheet, picked in the folder or sent by the browser."""
    contents: list[tuple[str, bytes]] = []
    for path in picked:
        try:
            contents.append((path.name, path.read_bytes()))
        except OSError as error:
            message = f"{path.name}: {error.strerror or error}"
            raise EvacError(message) from None
    contents += [
        (str(item["name"]), bytes(item["content"]))  # type: ignore[call-overload]  # a memoryview
        for item in sent
    ]
    return contents


def _read(
    contents: list[tuple[str, bytes]], *, time_zone: str, words: Words
) -> tuple[list[Observed], list[Unread]]:
    if not contents:
        raise EvacError(words.say("desk.sheets_none"))
    observed: list[Observed] = []
    unread: list[Unread] = []
    for name, content in contents:
        timed, missed = times_of(content, file=name, time_zone=time_zone)
        observed += timed
        unread += missed
    if not observed:
        raise EvacError(words.say("desk.sheets_blank"))
    return observed, unread


def lesson_html(lesson: Lesson, unread: list[Unread], words: Words) -> str:
    """Everything the evaluation says, as one page of tables."""
    before, after = lesson.before.simulation, lesson.after.simulation
    parts = [
        _part("report_before_after", words),
        sentence_html(
            words.say("drill.report_before", p50_s=before.p50_s, p90_s=before.p90_s)
            + "\n"
            + words.say("drill.report_after", p50_s=after.p50_s, p90_s=after.p90_s)
        ),
    ]
    waiting = acceptance(lesson.learned)
    if waiting:
        names = ", ".join(f'"{name}"' for name in waiting)
        parts.append(
            sentence_html(words.say("desk.needs_acceptance", accepted=f"[{names}]"))
        )
    for key in ("by_step", "by_team", "by_span"):
        rows = comparison_rows(getattr(lesson.evaluation, key), words)
        parts += [_part(key, words), table_html(rows)]
    parts += [
        _part("report_learned", words),
        sentence_html(words.say("drill.report_learned_how")),
        table_html(learned_rows(lesson.learned, words)),
        _part("report_who", words),
        table_html(took_part_rows(lesson, words)),
    ]
    lines = not_counted(lesson, unread, words)
    if lines:
        parts += [_part("report_unread", words), sentence_html("\n".join(lines))]
    return "".join(parts)


def _part(key: str, words: Words) -> str:
    return f"<h4>{words.say(f'drill.{key}')}</h4>"
