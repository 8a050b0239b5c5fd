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

from gentle_mutator import Files, change
from odd_values import ODD_CELLS, ODD_NUMBERS
from place_mutator import json_place, json_value, raster

GENTLE_SHARE = 0.4
"""Of the folders: changed so little that most of them still open."""


def mutate(files: Files, *, rng: random.Random) -> tuple[Files, str]:
    """The files with one to three things spoilt, and what they were.

    Every third folder or so is changed gently instead, so that plans are made of it.
    """
    if rng.random() < GENTLE_SHARE:
        return change(files, rng=rng)
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
    try:
        return list(csv.reader(io.StringIO(text)))
    except csv.Error:  # spoilt by another mutation before
        return [line.split(",") for line in text.splitlines()] or [[""]]


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
