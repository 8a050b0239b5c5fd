"""Spoils a lift folder in the ways that people, spreadsheets and disks spoil files.

Everything comes from one `random.Random`, so a seed names a mutation for good.
"""

from __future__ import annotations

import csv
import io
import json
import random
import warnings
from collections.abc import Callable
from typing import Any

import numpy as np
import rasterio
from rasterio.io import MemoryFile

Files = dict[str, bytes]

ODD_CELLS = (
    "", " ", "?", "nan", "NaN", "inf", "-inf", "-1", "0", "1e309", "-0.0", "1e-320",
    "99999999999", "1,5", "1.553,4", "2,100", "432'", "41'6\"", "6890 ft", "12 m",
    "\u2212 5", "=1+1", "@SUM(A1)", "<script>alert(1)</script>", "\u0000", "\u202e",
    "\U0001f6a1", "3-4", "03. Feb", "2027-02-30", "yes", "maybe", "None", "x" * 3000,
    "a|b", "|", "'; DROP TABLE", "../../etc/passwd", "{0}", "%s", "\u00a0", "1 412",
    "1'412", "TRUE",
)  # fmt: skip
"""What stands in cells of real tables, and what should never stand there."""

ODD_NUMBERS = (
    "0", "-1", "1e308", "1e-300", "nan", "inf", "-inf", "999999", "0x10", "true",
    '"2"', "[]", "{}", "[1, 2]", "[3, 2, 1]", "[nan, 1, 2]", "2027-02-28", '""', '"?"',
    "9223372036854775808", "-0.0", "[[1]]", "'''x'''",
)  # fmt: skip

ODD_JSON: tuple[Any, ...] = (
    None, True, -1, 1e308, "", "x", [], {}, [[]], "NaN", 91, 181, "road ", ["a"],
)  # fmt: skip


def mutate(files: Files, *, rng: random.Random) -> tuple[Files, str]:
    """The files with one to three things spoilt, and what they were."""
    spoilt = dict(files)
    told = []
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        name = rng.choice(sorted(spoilt))
        way = rng.choice(_ways(name))
        told.append(f"{way.__name__} {name}")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            changed = way(spoilt[name], rng)
        if changed is None:
            del spoilt[name]
        else:
            spoilt[name] = changed
        if not spoilt:
            break
    return spoilt, ", ".join(told)


Way = Callable[[bytes, random.Random], "bytes | None"]


def _ways(name: str) -> tuple[Way, ...]:
    if name.endswith(".csv"):
        return (cell, cell, cell, number, number, header, rows, spelling, raw, drop)
    if name.endswith(".toml"):
        return (toml_value, toml_value, toml_value, toml_line, number, raw)
    if name.endswith("json"):
        return (json_value, json_value, json_place, json_place, raw, drop)
    if name.endswith(".tif"):
        return (raster, raster, raw, drop)
    return (raw, drop)


def drop(_content: bytes, _rng: random.Random) -> None:
    """The file is not there."""


def raw(content: bytes, rng: random.Random) -> bytes:
    """Bytes flipped, cut, doubled or put in; or another encoding."""
    kind = rng.randrange(7)
    place = rng.randrange(len(content) + 1)
    if kind == 0 and content:
        changed = bytearray(content)
        for _ in range(rng.randint(1, 8)):
            changed[rng.randrange(len(changed))] = rng.randrange(256)
        return bytes(changed)
    if kind == 1:
        return content[:place]
    if kind == 2:
        end = min(len(content), place + rng.randint(1, 200))
        return content[:place] + content[end:]
    if kind == 3:
        return content[:place] + rng.randbytes(rng.randint(1, 20)) + content[place:]
    if kind == 4:
        return b"\xef\xbb\xbf" + content
    if kind == 5:
        text = content.decode("utf-8", "replace")
        return text.encode(rng.choice(("cp1252", "utf-16", "latin-1")), "replace")
    return content + content[place:]


def _table(content: bytes) -> list[list[str]]:
    text = content.decode("utf-8", "replace").replace("\x00", "")
    return list(csv.reader(io.StringIO(text)))


def _written(table: list[list[str]]) -> bytes:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(table)
    return out.getvalue().encode("utf-8", "replace")


def cell(content: bytes, rng: random.Random) -> bytes:
    """One cell becomes something odd, or another cell of the table."""
    table = _table(content)
    row = rng.choice(table[1:] or [[""]])
    if not row:
        return content
    other = rng.choice(rng.choice(table) or [""])
    row[rng.randrange(len(row))] = rng.choice((*ODD_CELLS, other, other, other))
    return _written(table)


def number(content: bytes, rng: random.Random) -> bytes:
    """One number becomes another: its decimal point, sign or unit slips."""
    text = content.decode("utf-8", "replace")
    starts = [i for i, c in enumerate(text) if c.isdigit()]
    if not starts:
        return content
    start = rng.choice(starts)
    end = start
    while end < len(text) and (text[end].isdigit() or text[end] == "."):
        end += 1
    try:
        value = float(text[start:end])
    except ValueError:
        return content
    factor = rng.choice((-1, 0, 10, 0.1, 100, 1000, 3.28084, 0.3048, 1.1, 0.9, 1e6))
    return (text[:start] + f"{value * factor:.10g}" + text[end:]).encode()


def header(content: bytes, rng: random.Random) -> bytes:
    """A column is misspelt, lost, doubled, moved, or says feet."""
    table = _table(content)
    if not table or not table[0]:
        return content
    place = rng.randrange(len(table[0]))
    kind = rng.randrange(5)
    if kind == 0:
        name = list(table[0][place] or "x")
        name[rng.randrange(len(name))] = rng.choice("abcxyz_ ")
        table[0][place] = "".join(name)
    elif kind == 1:
        table = [row[:place] + row[place + 1 :] for row in table]
    elif kind == 2:
        table = [[*row, row[place] if place < len(row) else ""] for row in table]
    elif kind == 3:
        other = rng.randrange(len(table[0]))
        for row in table:
            if max(place, other) < len(row):
                row[place], row[other] = row[other], row[place]
    else:
        table[0][place] = table[0][place].replace("_m", "_ft")
    return _written(table)


def rows(content: bytes, rng: random.Random) -> bytes:
    """Rows are lost, doubled, shuffled, or only the header is left."""
    table = _table(content)
    kind = rng.randrange(5)
    body = table[1:]
    if kind == 0 and body:
        del body[rng.randrange(len(body))]
    elif kind == 1 and body:
        body.insert(rng.randrange(len(body)), list(rng.choice(body)))
    elif kind == 2:
        rng.shuffle(body)
    elif kind == 3:
        body = []
    else:
        body = body * rng.randint(2, 40)
    return _written([*table[:1], *body])


def spelling(content: bytes, rng: random.Random) -> bytes:
    """The same table with semicolons, tabs, decimal commas, blanks or CRLF."""
    table = _table(content)
    kind = rng.randrange(4)
    if kind == 0:
        comma = [[each.replace(".", ",") for each in row] for row in table]
        return "\r\n".join(";".join(row) for row in comma).encode("cp1252", "replace")
    if kind == 1:
        return "\n".join("\t".join(row) for row in table).encode()
    if kind == 2:
        return _written([[f" {each} " for each in row] for row in table])
    return _written([[], *table, [], ["", ""]])


def toml_value(content: bytes, rng: random.Random) -> bytes:
    """One value of a TOML file becomes something odd."""
    lines = content.decode("utf-8", "replace").splitlines()
    places = [i for i, line in enumerate(lines) if "=" in line]
    if not places:
        return content
    place = rng.choice(places)
    key = lines[place].partition("=")[0]
    odd = rng.choice((*ODD_NUMBERS, *(json.dumps(text) for text in ODD_CELLS)))
    lines[place] = f"{key}= {odd}"
    return "\n".join(lines).encode("utf-8", "replace")


def toml_line(content: bytes, rng: random.Random) -> bytes:
    """A line is lost, doubled, or moved."""
    lines = content.decode("utf-8", "replace").splitlines()
    if not lines:
        return content
    line = lines.pop(rng.randrange(len(lines)))
    if rng.random() < 0.5:
        lines.insert(rng.randrange(len(lines) + 1), line)
    return "\n".join(lines).encode("utf-8", "replace")


def _parsed(content: bytes) -> Any:
    try:
        return json.loads(content.decode("utf-8", "replace"))
    except ValueError:
        return None


def _nodes(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [path] if path else []
    if isinstance(value, dict):
        for key, child in value.items():
            found += _nodes(child, (*path, key))
    elif isinstance(value, list):
        for index, child in enumerate(value):
            found += _nodes(child, (*path, index))
    return found


def json_value(content: bytes, rng: random.Random) -> bytes:
    """One value anywhere in the layer becomes something odd, or is lost."""
    whole = _parsed(content)
    nodes = _nodes(whole)
    if not nodes:
        return content
    path = rng.choice(nodes)
    holder = whole
    for part in path[:-1]:
        holder = holder[part]
    if rng.random() < 0.2:
        del holder[path[-1]]
    else:
        holder[path[-1]] = rng.choice((*ODD_JSON, *ODD_CELLS))
    return json.dumps(whole).encode()


def json_place(content: bytes, rng: random.Random) -> bytes:
    """Coordinates are exchanged, moved, mirrored or made into metres."""
    whole = _parsed(content)
    pairs = [path for path in _nodes(whole) if _is_pair(whole, path)]
    if not pairs:
        return content
    kind = rng.randrange(4)
    for path in pairs if rng.random() < 0.7 else [rng.choice(pairs)]:
        place = whole
        for part in path:
            place = place[part]
        x, y = place[0], place[1]
        place[:2] = (
            [y, x],
            [x + rng.uniform(-0.01, 0.01), y],
            [-x, y],
            [x * 111_000, y * 111_000],
        )[kind]
    return json.dumps(whole).encode()


def _is_pair(whole: Any, path: tuple[Any, ...]) -> bool:
    value = whole
    for part in path:
        value = value[part]
    return (
        isinstance(value, list)
        and len(value) >= 2
        and all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in value)
    )


def raster(content: bytes, rng: random.Random) -> bytes:
    """The terrain gets voids, spikes, steps, no reference system, or a wrong one."""
    try:
        with MemoryFile(content) as memory, memory.open() as source:
            profile, values = dict(source.profile), source.read(1).astype("float32")
    except rasterio.errors.RasterioError:
        return content
    kind = rng.randrange(8)
    height, width = values.shape
    row, column = rng.randrange(height), rng.randrange(width)
    size = rng.randint(1, max(2, height // 3))
    part = (slice(row, row + size), slice(column, column + size))
    if kind == 0:
        values[part] = -32768
    elif kind == 1:
        values[part] = np.nan
    elif kind == 2:
        values[part] += rng.choice((-500, 500, 1e6, 30))
    elif kind == 3:
        profile["crs"] = None
    elif kind == 4:
        profile["crs"] = rng.choice(("EPSG:3857", "EPSG:31287", "EPSG:32632"))
    elif kind == 5:
        values += rng.choice((-48, 48, 5, -9999))
    elif kind == 6:
        values = values / np.float32(0.3048)
    else:
        values[:] = rng.choice((0, np.nan, -9999, np.inf))
    with MemoryFile() as memory:
        with memory.open(**{**profile, "dtype": "float32"}) as target:
            target.write(values, 1)
        return bytes(memory.read())
