"""Spoils map layers and terrain: values, geometry, rasters."""

from __future__ import annotations

import json
import random
from typing import Any

import numpy as np
import rasterio
from odd_values import ODD_CELLS, ODD_JSON
from rasterio.io import MemoryFile


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


def move(content: bytes, rng: random.Random) -> bytes:
    """Geometry drawn otherwise: shifted, turned round, zigzag, doubled back, closed."""
    whole = _parsed(content)
    lines = [path for path in _nodes(whole) if _is_line(whole, path)]
    kind = rng.randrange(6)
    if not lines or kind == 0:
        for path in [path for path in _nodes(whole) if _is_pair(whole, path)]:
            pair = _at(whole, path)
            pair[0] += rng.uniform(-0.002, 0.002)
            pair[1] += rng.uniform(-0.002, 0.002)
        return json.dumps(whole).encode()
    line = _at(whole, rng.choice(lines))
    if kind == 1:
        line.reverse()
    elif kind == 2:
        (x0, y0), (x1, y1) = line[0][:2], line[-1][:2]
        line[:] = [
            [x0 + (x1 - x0) * n / 40 + 0.0003 * (n % 2), y0 + (y1 - y0) * n / 40]
            for n in range(41)
        ]
    elif kind == 3:
        line += [list(place) for place in reversed(line)]
    elif kind == 4:
        line += [list(line[0])]
    else:
        line[:] = [list(line[0]), list(line[0]), *line]
    return json.dumps(whole).encode()


def _at(whole: Any, path: tuple[Any, ...]) -> Any:
    for part in path:
        whole = whole[part]
    return whole


def _is_line(whole: Any, path: tuple[Any, ...]) -> bool:
    value = _at(whole, path)
    return (
        isinstance(value, list)
        and len(value) >= 2
        and all(_is_pair(whole, (*path, index)) for index in range(len(value)))
    )


def hills(content: bytes, rng: random.Random) -> bytes:
    """The terrain with a knoll, a gully, noise, or a void somewhere."""
    with MemoryFile(content) as memory, memory.open() as source:
        profile, values = dict(source.profile), source.read(1).astype("float32")
    height, width = values.shape
    row, column = np.mgrid[0:height, 0:width]
    away = np.hypot(row - rng.randrange(height), column - rng.randrange(width))
    kind = rng.randrange(4)
    if kind == 0:
        values += np.float32(rng.uniform(-8, 8)) * np.exp(-((away / 6) ** 2))
    elif kind == 1:
        values += np.float32(rng.uniform(-4, 4)) * np.sin(row / rng.uniform(2, 20))
    elif kind == 2:
        noise = np.random.default_rng(rng.randrange(1 << 30))
        values += noise.normal(0, rng.uniform(0.1, 2), values.shape)
    else:
        values[away < rng.uniform(1, 12)] = -9999
    with MemoryFile() as memory:
        with memory.open(**{**profile, "dtype": "float32"}) as target:
            target.write(values.astype("float32"), 1)
        return bytes(memory.read())
