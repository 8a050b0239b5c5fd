"""Changes a folder so gently that it mostly still opens: to try the whole chain.

What the rough mutator spoils is refused at the first cell in three of four cases, and
then nothing behind the readers has been tried.
"""

from __future__ import annotations

import csv
import io
import random
import re
import zlib

import openpyxl
from place_mutator import hills, move
from rasterio.io import MemoryFile

Files = dict[str, bytes]

CHOICES = {
    "state": ('"constant"', '"locked"', '"unknown"'),
    "held_at": ('"drive"', '"return"'),
    "grip": ('"fixed"', '"detachable"'),
    "drive_station": ('"first"', '"last"'),
    "upper_station": ('"first"', '"last"'),
    "ascending_side": ('"left"', '"right"'),
    "counts_from": ('"stop"', '"order"'),
    "counts_to": ('"on the ground"', '"in safety"'),
    "walking_rule": ('"naismith"', '"din33466"', '"tobler"'),
    "night": ("true", "false"),
    "iced_rope": ("true", "false"),
    "seats": ("1", "2", "3", "4", "6", "8"),
    "type": ('"chair"', '"cabin"'),
}
"""Keys of ``lift.toml`` with other values that are right by themselves."""

CELL_CHOICES = {
    "kind": ("support", "hold-down", "combined", ""),
    "doubtful": ("yes", "no"),
    "launcher": ("yes", "no"),
    "travel": ("foot", "ski", "snow vehicle"),
    "starts_at": ("upper", "lower", ""),
    "techniques": ("loop", "ladder", "loop | ladder"),
    "crew": ("1", "2", "3", "4", "9"),
    "passes_rollers": ("yes", "no"),
    "passes_hold_downs": ("yes", "no"),
    "needs_line_over_rope": ("yes", "no"),
    "downhill_only": ("yes", "no"),
    "incapacitated": ("yes", "no"),
    "stopped": ("yes", "no"),
    "real": ("yes", "no"),
}
"""Columns with other values that are right by themselves."""

NUMBER_FORMATS = ("0.00", '0" ft"', "0'", '0" kg"', "0%", "000", '"T"0', '[<9]0;0" m"')

OPTIONAL = (
    "ground.csv", "terrain.tif", "hazards.geojson", "access.geojson", "muster.geojson",
    "drills.csv",
)  # fmt: skip

_NUMBER = re.compile(r"-?\d+(\.\d+)?")


def change(files: Files, *, rng: random.Random) -> tuple[Files, str]:
    """The files with one to six things a little different, and what they are."""
    changed, told = dict(files), []
    for _ in range(rng.randint(1, 6)):
        name = rng.choice(("lift.toml", "lift.toml", *sorted(changed)))
        if name.endswith(".csv"):
            way = rng.choice(("nudge", "nudge", "choose", "as a spreadsheet", "row"))
        elif name.endswith(".toml"):
            way = rng.choice(("nudge", "choose"))
        elif name.endswith(".tif"):
            way = rng.choice(("hills", "hills", "as an ASCII grid"))
        elif name.endswith(".geojson"):
            way = "move"
        else:
            continue  # changed into another format already
        if name in OPTIONAL and rng.random() < 0.1:
            way = "drop"
        told.append(f"{way} {name}")
        _apply(way, name, changed, rng)
    return changed, ", ".join(told)


def _apply(way: str, name: str, files: Files, rng: random.Random) -> None:
    content = files[name]
    if way == "drop":
        del files[name]
    elif way == "as a spreadsheet":
        del files[name]
        files[name.removesuffix(".csv") + ".xlsx"] = _spreadsheet(content)
        _rename(files, name, name.removesuffix(".csv") + ".xlsx")
    elif way == "as an ASCII grid":
        del files[name]
        files["terrain.asc"] = _ascii_grid(content)
        files["lift.toml"] = files["lift.toml"].replace(
            b"[files]\n", b'[files]\nterrain_crs = "EPSG:4326"\n'
        )
    elif way == "move":
        files[name] = move(content, rng)
    elif way == "hills":
        files[name] = hills(content, rng)
    elif name.endswith(".toml"):
        files[name] = _toml(content, rng, choose=way == "choose")
    else:
        files[name] = _table(content, rng, way=way)


def _rename(files: Files, old: str, new: str) -> None:
    files["lift.toml"] = files["lift.toml"].replace(
        f'"{old}"'.encode(), f'"{new}"'.encode()
    )


def _slipped(text: str, rng: random.Random) -> str:
    """A number a little larger or smaller; heights above the sea by some metres."""
    value = float(text)
    if abs(value) >= 1000:
        value += rng.uniform(-6, 6)
    else:
        value *= rng.choice((0.3, 0.7, 0.9, 0.97, 1.03, 1.1, 1.4, 3.0))
    if "." not in text:
        return str(round(value))
    return f"{value:.{max(2, len(text.partition('.')[2]))}f}"


def _toml(content: bytes, rng: random.Random, *, choose: bool) -> bytes:
    lines = content.decode("utf-8").splitlines()
    keys = [line.partition("=")[0].strip() for line in lines]
    if choose:
        places = [i for i, key in enumerate(keys) if key in CHOICES]
        place = rng.choice(places)
        lines[place] = f"{keys[place]} = {rng.choice(CHOICES[keys[place]])}"
    else:
        places = [
            i
            for i, line in enumerate(lines)
            if _NUMBER.search(line.partition("=")[2])
            and '"' not in line
            and keys[i] not in ("schema", "date", "seats")
        ]
        place = rng.choice(places)
        key, _, value = lines[place].partition("=")
        state = rng.getstate()

        def slipped(match: re.Match[str]) -> str:
            rng.setstate(state)  # all values of a list slip alike: they stay in order
            return _slipped(match[0], rng)

        lines[place] = f"{key}={_NUMBER.sub(slipped, value)}"
    return ("\n".join(lines) + "\n").encode("utf-8")


def _table(content: bytes, rng: random.Random, *, way: str) -> bytes:
    table = list(csv.reader(io.StringIO(content.decode("utf-8"))))
    if len(table) < 2:
        return content
    header, rows = table[0], table[1:]
    row = rng.choice(rows)
    if way == "row":
        if len(rows) > 2 and rng.random() < 0.5:
            rows.remove(row)
        else:
            twin = [*row]
            twin[0] = f"{twin[0]} b"
            rows.append(twin)
    elif way == "choose":
        places = [i for i, name in enumerate(header) if name in CELL_CHOICES]
        if places:
            place = rng.choice(places)
            row[place] = rng.choice(CELL_CHOICES[header[place]])
    else:
        places = [i for i, cell in enumerate(row) if _NUMBER.fullmatch(cell) and i]
        if places:
            place = rng.choice(places)
            row[place] = _slipped(row[place], rng)
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows([header, *rows])
    return out.getvalue().encode("utf-8")


def _spreadsheet(content: bytes) -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in csv.reader(io.StringIO(content.decode("utf-8"))):
        sheet.append(
            [float(cell) if _NUMBER.fullmatch(cell) else cell or None for cell in row]
        )
    # Its own chance, so that a seed's other changes stay what they were.
    rng = random.Random(zlib.crc32(content))  # noqa: S311 - repeatable
    if rng.random() < 0.3:
        old = book.copy_worksheet(sheet)
        old.append(["of", "last", "year"])
        old.sheet_state = "hidden"
        book.move_sheet(old, offset=-1)
        book.active = 1
    if rng.random() < 0.3:
        row = rng.randint(2, max(sheet.max_row, 2))
        cell = sheet.cell(row, rng.randint(1, sheet.max_column))
        cell.number_format = rng.choice(NUMBER_FORMATS)
    made = io.BytesIO()
    book.save(made)
    return made.getvalue()


def _ascii_grid(content: bytes) -> bytes:
    with MemoryFile(content) as memory, memory.open() as source:
        values, transform = source.read(1), source.transform
    lines = [
        f"ncols {values.shape[1]}",
        f"nrows {values.shape[0]}",
        f"xllcorner {transform.c:.8f}",
        f"yllcorner {transform.f + transform.e * values.shape[0]:.8f}",
        f"cellsize {transform.a:.10f}",
        "NODATA_value -9999",
        *(" ".join(f"{value:.2f}" for value in row) for row in values),
    ]
    return ("\n".join(lines) + "\n").encode()
