"""The command line: plan, check, new, demo, import-osm, drill and record.

Imports of the heavy modules stand inside the commands, so that ``evac --help`` and
``evac check`` answer at once.
"""

from __future__ import annotations

import os
import signal
import sys
import traceback
from datetime import date, datetime
from importlib import resources
from pathlib import Path
from types import FrameType
from typing import Annotated

import typer
from rich.table import Table

from evac.errors import EvacError, OutputError
from evac.facts.rehearsal import DrillKind
from evac.terminal import (
    guard_streams,
    open_console,
    progress_bar,
    say,
    stepper,
    words_for,
)
from evac.words import Words

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Plan, rehearse and brief the rope evacuation of a chairlift or gondola. "
    + Words().say("cautions.short"),
)

Folder = Annotated[
    Path,
    typer.Argument(metavar="FOLDER", help="The lift folder.", show_default=False),
]
Out = Annotated[
    Path,
    typer.Option(
        "--out", metavar="FOLDER", help="Folder for the results.", show_default=False
    ),
]


@app.command()
def plan(
    folder: Folder,
    out: Out,
    day: Annotated[
        datetime | None,
        typer.Option(
            "--date",
            formats=["%Y-%m-%d"],
            metavar="YYYY-MM-DD",
            help="Day printed on the papers and used for due dates; today if left out.",
        ),
    ] = None,
    seed: Annotated[
        int,
        typer.Option(
            metavar="NUMBER", help="Seed of the imagined days.", min=0, max=2**32 - 1
        ),
    ] = 1,
    feet: Annotated[bool, typer.Option("--feet", help="Feet beside metres.")] = False,
    number_locale: Annotated[
        str,
        typer.Option(
            "--locale", metavar="CODE", help="How numbers are written: en, de, fr ..."
        ),
    ] = "en",
    compare_with: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER",
            help="An earlier output folder: the papers list what changed.",
        ),
    ] = None,
) -> None:
    """Read a lift folder and write its evacuation plan.

    Exit code 0: everyone is reached and the limit is met; 1: not so.

    2: bad input, output that cannot be written, no memory, or a fault of evac.
    """
    from evac.documents.bundle import write_documents
    from evac.inputs.earlier_plan import read_record
    from evac.inputs.folder import open_lift
    from evac.plan import make_plan
    from evac.summary import print_summary

    words = words_for(feet=feet, number_locale=number_locale)
    planned_day = day.date() if day else date.today()
    if compare_with is not None:
        # What cannot be compared with is refused before half a minute of work.
        read_record(compare_with)
    with progress_bar() as progress:
        on_step = stepper(progress, words)
        on_step("read", 0.0)
        lift = open_lift(folder, today=planned_day)
        result = make_plan(lift, date=planned_day, seed=seed, on_step=on_step)
        on_step("documents", 0.0)
        names = write_documents(
            result, out, words=words, compare_with=compare_with, on_step=on_step
        )
        progress.stop()
    print_summary(
        open_console(),
        result,
        words,
        written=words.say(
            "summary.written", out=str(out), count=len(names), first="plan.pdf"
        ),
    )
    if not (result.everyone_reached and result.limit_met is not False):
        raise typer.Exit(1)


@app.command()
def check(folder: Folder) -> None:
    """Only read and check a lift folder."""
    from evac.inputs.folder import open_lift
    from evac.inputs.scaffold import open_blanks
    from evac.line import find_doubts, lay_out

    words = Words()
    lift = open_lift(folder, today=date.today())
    console = open_console()
    for finding in (*lift.findings, *find_doubts(lift, lay_out(lift))):
        mark = words.say(f"summary.severity_{finding.severity.value}")
        text, remedy = words.finding(finding)
        say(console, f"{mark:5}{text} {remedy}")
    for blank in open_blanks(folder):
        say(console, f"- {blank}")
    say(
        console,
        words.say(
            "summary.checked",
            folder=str(folder),
            supports=len(lift.supports),
            teams=len(lift.teams),
            kits=len(lift.kits),
            length_m=lift.supports[-1].distance_m,
        ),
    )
    say(console, words.say("cautions.short"))


@app.command()
def new(folder: Folder) -> None:
    """Start a commented lift folder and say which blanks are still open."""
    from evac.inputs.scaffold import new_folder_files, open_blanks

    words = Words()
    _write_new(folder, new_folder_files(), words)
    console = open_console()
    say(console, words.say("summary.new_made", out=str(folder)))
    for blank in open_blanks(folder):
        say(console, f"- {blank}")
    say(console, words.say("summary.new_next", out=str(folder)))
    say(console, words.say("cautions.short"))


@app.command()
def demo(
    folder: Annotated[
        Path,
        typer.Argument(
            metavar="FOLDER", help="Where to put the demos.", show_default=False
        ),
    ],
) -> None:
    """Copy the demos, invented lifts, out of the installed package."""
    words = Words()
    source = resources.files("evac") / "data_demo"
    if not source.is_dir():
        # A checkout holds the demo beside the package, a wheel inside it.
        source = resources.files("evac").joinpath("..", "data_demo")
    files = {
        name: content
        for name, content in _tree(source)
        if not name.endswith((".py", ".pyc"))
    }
    _write_new(folder, files, words)
    lift_folder = next(name for name in sorted(files) if name.endswith("/lift.toml"))
    say(
        open_console(),
        words.say(
            "summary.demo_made",
            out=str(folder),
            folder=str(folder / Path(lift_folder).parent),
            plan="plan_out",
        ),
    )


@app.command()
def drill(
    folder: Folder,
    out: Out,
    seed: Annotated[
        int,
        typer.Option(metavar="NUMBER", help="Another seed draws another drill.", min=0),
    ] = 1,
    kind: Annotated[
        DrillKind | None,
        typer.Option(
            metavar="KIND",
            help="One of: "
            + ", ".join(kind.value for kind in DrillKind)
            + ". Drawn too if left out.",
        ),
    ] = None,
    carriers: Annotated[
        int,
        typer.Option(
            metavar="NUMBER",
            help="Carriers that each team clears, 1 to 20.",
            min=1,
            max=20,
        ),
    ] = 3,
) -> None:
    """Draw a drill from the plan and write its papers."""
    from evac.documents.drill_papers import drill_files
    from evac.inputs.folder import open_lift
    from evac.outbox import publish
    from evac.plan import make_plan
    from evac.rehearsal import draw_drill

    words = Words()
    today = date.today()
    with progress_bar() as progress:
        on_step = stepper(progress, words)
        result = make_plan(open_lift(folder, today=today), date=today, on_step=on_step)
        drawn = draw_drill(result, seed=seed, kind=kind, carriers_a_team=carriers)
        files = drill_files(drawn, result.lift, words)
        progress.stop()
    publish(out, files)
    say(open_console(), words.say("drill.written", out=str(out), count=len(files)))
    say(open_console(), words.say("cautions.short"))


@app.command()
def record(
    folder: Folder,
    sheets: Annotated[
        list[Path],
        typer.Argument(
            metavar="FILE", help="Filled observers' sheets.", show_default=False
        ),
    ],
    out: Out,
    seed: Annotated[
        int, typer.Option(metavar="NUMBER", help="Seed of the imagined days.", min=0)
    ] = 1,
) -> None:
    """Read the times of a drill: evaluation, and step times learned from it."""
    from evac.documents.drill_report import evaluation_pdf
    from evac.inputs.drill_times import read_times
    from evac.inputs.folder import open_lift
    from evac.outbox import publish
    from evac.plan import make_plan
    from evac.rehearsal import evaluate
    from evac.tables_out import drills_csv

    words = Words()
    today = date.today()
    lift = open_lift(folder, today=today)
    read = [read_times(sheet, time_zone=lift.conditions.time_zone) for sheet in sheets]
    observed = [item for found, _ in read for item in found]
    unread = [item for _, missed in read for item in missed]
    with progress_bar() as progress:
        on_step = stepper(progress, words)
        before = make_plan(lift, date=today, seed=seed, on_step=on_step)
        lesson = evaluate(lift, observed, before=before, on_step=on_step)
        progress.stop()
    report = evaluation_pdf(lesson, unread=unread, words=words)
    publish(out, {"evaluation.pdf": report, "drills.csv": drills_csv(lesson.records)})
    say(
        open_console(),
        words.say(
            "drill.recorded",
            count=len(observed),
            unread=len(unread),
            out=str(out),
        ),
    )
    say(open_console(), words.say("cautions.short"))


@app.command("import-osm")
def import_osm(
    extract: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", help="An OpenStreetMap extract.", show_default=False
        ),
    ],
    terrain: Annotated[
        list[Path] | None,
        typer.Option(
            metavar="FILE", help="Terrain that covers the lift; once for every tile."
        ),
    ] = None,
    terrain_crs: Annotated[
        str | None,
        typer.Option(
            metavar="CODE",
            help="Its reference system where the file names none: EPSG:31287",
        ),
    ] = None,
    lift: Annotated[
        int | None, typer.Option(metavar="NUMBER", help="Way id of the lift.")
    ] = None,
    supports: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Table with lat and lon of supports the map lacks."
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FOLDER", help="Lift folder to write."),
    ] = None,
) -> None:
    """List the lifts of an OpenStreetMap extract, or make a lift folder of one.

    With --terrain alone the list says for which lifts it has heights.
    """
    words = Words()
    if lift is None and out is None and supports is None:
        _list_lifts(extract, terrain or [], terrain_crs, words)
        return
    if not terrain or lift is None or out is None:
        raise EvacError(words.say("summary.osm_need_all"))
    from evac.inputs.folder import open_lift
    from evac.inputs.osm_folder import lift_folder_files

    files = lift_folder_files(
        extract,
        way_id=lift,
        terrain=terrain,
        terrain_crs=terrain_crs,
        supports=supports,
    )
    _write_new(out, files, words)
    say(
        open_console(),
        words.say(
            "summary.osm_made",
            out=str(out),
            way=str(lift),
            count=len(open_lift(out).assumptions),
            plan="plan_out",
        ),
    )
    say(open_console(), words.say("cautions.short"))


def _list_lifts(
    extract: Path, terrain: list[Path], terrain_crs: str | None, words: Words
) -> None:
    from evac.inputs.osm import left_out, lifts_of, reason_text
    from evac.inputs.osm_extract import read_extract

    read = read_extract(extract)
    lifts = lifts_of(read)
    if terrain:
        from evac.inputs.osm_folder import on_terrain

        lifts = on_terrain(read, lifts, terrain=terrain, terrain_crs=terrain_crs)
    others = left_out(read, words)
    if others:
        # Beside the list, so that a list in a pipe holds lifts alone.
        sys.stderr.write(others + "\n")
    console = open_console()
    if not lifts:
        say(console, words.say("summary.osm_none", extract=str(extract)))
    rows = [
        (
            str(item.way_id),
            item.type,
            words.length(item.length_m),
            str(item.supports),
            words.say("summary.osm_usable")
            if item.usable
            else words.say("summary.osm_not_usable", reason=reason_text(item, words)),
            item.name or words.say("summary.unnamed"),
        )
        for item in lifts
    ]
    keys = ("way", "type", "length", "supports", "usable", "name")
    if not console.is_terminal:
        for row in rows:
            values = dict(
                zip(("way", "type", "length_m", "supports"), row, strict=False)
            )
            say(
                console,
                words.say("summary.osm_line", **values, usable=row[4], name=row[5]),
            )
        return
    table = Table()
    for key in keys:
        table.add_column(words.say(f"summary.column_{key}"))
    for row in rows:
        table.add_row(*row)
    console.print(table, markup=False)


def _tree(
    folder: resources.abc.Traversable, prefix: str = ""
) -> list[tuple[str, bytes]]:
    found: list[tuple[str, bytes]] = []
    for entry in sorted(folder.iterdir(), key=lambda item: item.name):
        name = f"{prefix}{entry.name}"
        if entry.is_dir():
            if entry.name != "__pycache__":
                found += _tree(entry, f"{name}/")
        else:
            found.append((name, entry.read_bytes()))
    return found


def _write_new(folder: Path, files: dict[str, bytes], words: Words) -> None:
    from evac.outbox import create_folder

    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise OutputError(words.say("summary.new_exists", out=str(folder)))
    create_folder(folder, files)


class _StoppedError(BaseException):
    """Somebody stopped the run; no exception handler on the way may swallow it."""


def _stop(_signal: int, _frame: FrameType | None) -> None:
    raise _StoppedError


def main() -> None:
    """Run the command line; every refusal is one clear message and exit code 2."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            # Closed by the caller: there is nobody to read it, and the work goes on.
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        # A terminal in the C locale must not turn an accent into a traceback.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    guard_streams()
    try:
        for stopping in (signal.SIGTERM, signal.SIGINT):
            signal.signal(stopping, _stop)
        app(standalone_mode=True)
    except EvacError as error:
        sys.stderr.write(f"evac: {error}\n")
        sys.exit(2)
    except MemoryError:
        sys.stderr.write(Words().say("summary.no_memory") + "\n")
        sys.exit(2)
    except (_StoppedError, KeyboardInterrupt):
        sys.stderr.write(Words().say("summary.stopped") + "\n")
        sys.exit(130)
    except Exception:
        # Exit code 1 says that somebody is not reached: a fault must never look so.
        traceback.print_exc()
        sys.stderr.write(Words().say("summary.own_fault") + "\n")
        sys.exit(2)


if __name__ == "__main__":
    main()
