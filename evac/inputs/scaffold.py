"""A lift folder to start from, and what is still open in one."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping
from importlib import resources
from pathlib import Path
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from evac import reference
from evac.errors import InputError
from evac.inputs.files import DEFAULT_NAMES, FolderFiles
from evac.inputs.geo import (
    HAZARD_KINDS,
    WAY_TRAVEL,
    HazardProperties,
    MusterProperties,
    WayProperties,
)
from evac.inputs.lift_toml import toml_table
from evac.inputs.problems import OPEN, WORDS
from evac.inputs.rows import (
    TECHNIQUE_KINDS,
    DrillRow,
    GroundRow,
    KitRow,
    StepTimeRow,
    SupportRow,
    TeamRow,
    TechniqueRow,
)
from evac.inputs.tables import RawTable, raw_table

TABLES: dict[str, type[BaseModel]] = {
    "supports": SupportRow,
    "teams": TeamRow,
    "kit": KitRow,
    "techniques": TechniqueRow,
    "times": StepTimeRow,
}
"""The tables that every folder has, by the name of their words."""

_LAYERS: Mapping[str, type[BaseModel]] = {
    "hazards": HazardProperties,
    "access": WayProperties,
    "muster": MusterProperties,
}
_KINDS = {"hazards": HAZARD_KINDS, "access": tuple(WAY_TRAVEL)}


def new_folder_files() -> dict[str, bytes]:
    """The files of a commented lift folder, with blanks where only the user knows.

    Techniques and step times are filled with the usual figures of the trade, each
    with where it comes from; supports, teams and kit have their header only.

    Returns
    -------
    dict
        File name -> content.

    Examples
    --------
    >>> sorted(new_folder_files())  # doctest: +NORMALIZE_WHITESPACE
    ['README.txt', 'kit.csv', 'lift.toml', 'supports.csv', 'teams.csv',
     'techniques.csv', 'times.csv']
    """
    start = resources.files("evac.inputs") / "start"
    files = {
        "README.txt": _readme(),
        "lift.toml": _lift_toml((start / "lift.toml").read_text("utf-8")),
        "techniques.csv": (start / "techniques.csv").read_text("utf-8"),
        "times.csv": reference.table_text("step_times.csv"),
    }
    for name in ("supports", "teams", "kit"):
        files[f"{name}.csv"] = ",".join(TABLES[name].model_fields) + "\n"
    return {name: text.encode("utf-8") for name, text in sorted(files.items())}


def open_blanks(folder: Path) -> list[str]:
    """Name the blanks that are still open in a lift folder, each as a sentence.

    Parameters
    ----------
    folder : Path
        A folder begun with :func:`new_folder_files`, or any lift folder.

    Returns
    -------
    list of str
        In the order of ``lift.toml``, then the tables, then the map layers; [] where
        nothing is open.

    Raises
    ------
    InputError
        If ``lift.toml`` or a table is there and cannot be read at all.
    """
    found: list[str] = []
    toml_path = folder / "lift.toml"
    table: dict[str, Any] = {}
    if toml_path.is_file():
        FolderFiles(path=folder).inside(toml_path.name)
        table = toml_table(toml_path.read_bytes(), file="lift.toml")
        found += [_open_key(path) for path in _open_paths(table)]
    else:
        found.append(WORDS.say("inputs.open.no_file", file="lift.toml"))
    stated = table.get("files")
    names = stated if isinstance(stated, dict) else {}
    for name in TABLES:
        found += _open_table(folder, name=name, stated=names.get(name))
    if not any(_there(folder, key, names) for key in ("ground", "terrain")):
        found.append(WORDS.say("inputs.open.no_ground"))
    found += [
        WORDS.say(f"inputs.open.no_{name}")
        for name in _LAYERS
        if not _there(folder, name, names)
    ]
    return found


def _there(folder: Path, key: str, names: dict[str, Any]) -> bool:
    """Whether a file is named, or stands there under one of its default names."""
    found = any((folder / name).is_file() for name in DEFAULT_NAMES[key])
    return bool(names.get(key)) or found


def _open_paths(table: dict[str, Any]) -> Iterator[list[str]]:
    for key, value in table.items():
        if value == OPEN:
            yield [key]
        elif isinstance(value, dict):
            for path in _open_paths(value):
                yield [key, *path]
        elif isinstance(value, list):
            for item in value:
                if isinstance(item, dict):
                    for path in _open_paths(item):
                        yield [key, *path]


def _open_key(path: list[str]) -> str:
    words = f"inputs.column.lift_toml.{'_'.join(path[:-1])}.{path[-1]}"
    remedy = WORDS.say(words if WORDS.has(words) else "inputs.last_remedy.still_open")
    where = f"[{'.'.join(path[:-1])}] {path[-1]}"
    return WORDS.say("inputs.open.key", where=where, remedy=remedy)


def _open_table(folder: Path, *, name: str, stated: object) -> list[str]:
    """What is open in one table: the file, its rows, or cells with a ``?``."""
    usual = DEFAULT_NAMES[name]
    there = next((each for each in usual if (folder / each).is_file()), usual[0])
    file = stated if isinstance(stated, str) else there
    path = folder / file
    if not path.is_file():
        return [WORDS.say("inputs.open.no_file", file=file)]
    FolderFiles(path=folder).inside(file, key=name)
    try:
        table = raw_table(path.read_bytes(), file=file)
    except OSError:
        return [WORDS.say("inputs.open.no_file", file=file)]
    except InputError as error:
        if all(cell.where == "the header" for cell in error.problems):
            return [WORDS.say("inputs.open.no_rows", file=file)]
        raise
    if not table.rows:
        return [WORDS.say("inputs.open.no_rows", file=file)]
    return [
        WORDS.say("inputs.open.cells", file=file, column=column, rows=rows)
        for column, rows in _open_cells(table)
    ]


def _open_cells(table: RawTable) -> Iterator[tuple[str, str]]:
    for place, column in enumerate(table.header):
        rows = [
            str(number)
            for number, row in zip(table.numbers, table.rows, strict=True)
            if row[place] == OPEN
        ]
        if rows:
            yield column, ", ".join(rows)


def _lift_toml(text: str) -> str:
    """The starting ``lift.toml`` with the published limits and the plan's items."""
    limits = "\n".join(
        f"#   {limit.where}, {limit.ropeway}: {limit.limit_min:g} min"
        f"{_before_rescue(limit)} ({limit.text}; {limit.source})"
        for limit in reference.time_limits()
        if limit.limit_min is not None
    )
    texts = "\n".join(
        f'# {item.key} = ""  # {item.item} (asked by: {item.asked_by})'
        for item in reference.plan_contents()
    )
    return text.replace("@LIMITS@", limits).replace("@TEXTS@", texts)


def _before_rescue(limit: reference.PublishedLimit) -> str:
    part_min = limit.of_which_before_rescue_min
    return "" if part_min is None else f", before_rescue_min {part_min:g}"


def _readme() -> str:
    """What columns and properties mean, from the same words as the errors."""
    out = io.StringIO()
    out.write(WORDS.say("inputs.readme.top") + "\n")
    for name, model in TABLES.items():
        out.write(f"\n{name}.csv\n" + _columns(name, model) + _after(name))
    out.write("\n" + WORDS.say("inputs.readme.ground") + "\n")
    out.write("\nground.csv\n" + _columns("ground", GroundRow) + _after("ground"))
    out.write("\n" + WORDS.say("inputs.readme.layers") + "\n")
    for name, model in _LAYERS.items():
        out.write(f"\n{name}.geojson " + WORDS.say(f"inputs.readme.{name}") + "\n")
        out.write(_columns(name, model))
        if name in _KINDS:
            kinds = ", ".join(_KINDS[name])
            out.write(WORDS.say("inputs.readme.kinds", kinds=kinds) + "\n")
    out.write("\n" + WORDS.say("inputs.readme.drills") + "\n")
    out.write("\ndrills.csv\n" + _columns("drills", DrillRow))
    return out.getvalue()


def _after(name: str) -> str:
    """What a table asks of its rows together; "" for most."""
    key = f"inputs.readme.after.{name}"
    if not WORDS.has(key):
        return ""
    kinds = "".join(f"\n    {kind}" for kind in TECHNIQUE_KINDS)
    return WORDS.say(key, kinds=kinds).strip("\n") + "\n"


def _blank(field: FieldInfo) -> str:
    """What a blank cell counts as; "" where there must be a value."""
    if field.is_required():
        return ""
    if field.default is False:
        return WORDS.say("inputs.readme.counts_as", default="no")
    if isinstance(field.default, (int, float)):
        return WORDS.say("inputs.readme.counts_as", default=f"{field.default:g}")
    return WORDS.say("inputs.readme.optional")


def _columns(name: str, model: type[BaseModel]) -> str:
    lines = []
    for column, field in model.model_fields.items():
        key = f"inputs.column.{name}.{column}"
        meaning = WORDS.say(key) if WORDS.has(key) else ""
        lines.append(f"  {column}{_blank(field)}: {meaning}".rstrip(" :") + "\n")
    return "".join(lines)
