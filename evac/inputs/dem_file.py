"""Terrain files opened safely: one known kind at a time, with caps on size.

GDAL is only ever offered the one driver that the file's beginning asks for: a file of
another kind, which might name further files or addresses, is refused, not followed.
"""

from __future__ import annotations

import warnings
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath

import numpy as np
import rasterio
from rasterio.errors import NotGeoreferencedWarning, RasterioError
from rasterio.io import DatasetReader, MemoryFile

from evac.errors import InputError, Problem
from evac.words import Words

TIFF_BEGINNINGS = (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")
MOST_UNPACKED_BYTES = 300_000_000
"""Most bytes that a zipped terrain file may unpack to."""
ASCII_HEADER_LINES = 6
ASCII_NUMBERS = b"0123456789+-.,eEnNaAiIfF \t\r\n"


class NoGroundError(InputError):
    """Terrain that is sound and has no height where it is needed."""


def problem(key: str, *, where: str, found: str, **values: str | float) -> Problem:
    """One problem of a terrain file in the words of ``evac/words/en/dem.toml``."""
    words = Words()
    return Problem(
        where=where,
        found=found,
        expected=words.say(f"dem.{key}.expected", **values),
        remedy=words.say(f"dem.{key}.remedy", **values),
    )


@contextmanager
def opened(path: Path) -> Iterator[DatasetReader]:
    """Open as a raster with one of our drivers, or say that it is none."""
    if not path.is_file():
        raise InputError(
            path.name, [problem("missing", where="file", found="no such file")]
        )
    # A sidecar (.aux.xml) could move or scale the heights and is no file of the folder.
    with warnings.catch_warnings(), rasterio.Env(GDAL_PAM_ENABLED="NO"):
        # Asked for below, by the identity transform, with a sentence of its own.
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        with path.open("rb") as file:
            start = file.read(24)
        try:
            if start.startswith(b"PK"):
                name, content = _unzipped(path)
                driver = _driver(name, content[:24])
                with (
                    MemoryFile(content, filename=name) as memory,
                    memory.open(driver=driver) as source,
                ):
                    yield source
            else:
                driver = _driver(path.name, start)
                if driver == "AAIGrid":
                    _require_numbers(path)
                if _is_utf_8(path):
                    with rasterio.open(path, driver=driver) as source:
                        yield source
                else:
                    # In the C locale a path with an accent is no text that GDAL takes.
                    name = path.name.encode("ascii", "replace").decode("ascii")
                    with (
                        MemoryFile(path.read_bytes(), filename=name) as memory,
                        memory.open(driver=driver) as source,
                    ):
                        yield source
        except RasterioError as error:
            found = f"a file that begins with {start!r}"
            raise InputError(
                path.name, [problem("not_raster", where="file", found=found)]
            ) from error


def _is_utf_8(path: Path) -> bool:
    try:
        str(path).encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _require_numbers(path: Path) -> None:
    """Refuse an ASCII grid that is cut short or holds more than numbers.

    GDAL complains about every character of such a file, millions of times.
    """
    size = {b"ncols": 0, b"nrows": 0}
    heights = 0
    with path.open("rb") as file:
        for _ in range(ASCII_HEADER_LINES):
            place = file.tell()
            words = file.readline(1000).split()
            if words and not words[0][:1].isalpha():
                # The line that names the void may be missing.
                file.seek(place)
                break
            if len(words) == 2 and words[0].lower() in size and words[1].isdigit():
                size[words[0].lower()] = int(words[1][:9])
        gap_before = True
        while chunk := file.read(1 << 24):
            odd = chunk.translate(None, delete=ASCII_NUMBERS)
            if odd:
                found = f"the character {odd[:1]!r} among the heights"
                raise InputError(
                    path.name, [problem("unreadable", where="grid", found=found)]
                )
            gap = np.frombuffer(chunk, np.uint8) <= ord(" ")
            before = np.concatenate([[gap_before], gap[:-1]])
            heights += int((before & ~gap).sum())
            gap_before = bool(gap[-1])
    if heights < size[b"ncols"] * size[b"nrows"]:
        wanted = size[b"ncols"] * size[b"nrows"]
        found = f"{heights:,} of {wanted:,} heights"
        raise InputError(path.name, [problem("unreadable", where="grid", found=found)])


def _driver(name: str, start: bytes) -> str:
    """The one driver that may open a file, by its beginning or its name."""
    if start.startswith(TIFF_BEGINNINGS):
        return "GTiff"
    if name.lower().endswith(".hgt"):
        return "SRTMHGT"
    if start.lstrip()[:5].lower() in {b"ncols", b"nrows"}:
        return "AAIGrid"
    found = f"a file that begins with {start!r}"
    raise InputError(name, [problem("not_raster", where="file", found=found)])


def _unzipped(path: Path) -> tuple[str, bytes]:
    """Name and content of the only raster in a zip, with a cap on its size."""
    try:
        with zipfile.ZipFile(path) as archive:
            inside = [
                entry
                for entry in archive.infolist()
                if PurePosixPath(entry.filename).suffix.lower()
                in {".hgt", ".tif", ".tiff", ".asc"}
                # What a Mac packs beside every file.
                and not entry.filename.startswith("__MACOSX/")
            ]
            if len(inside) != 1:
                found = f"{len(inside)} terrain files"
                raise InputError(
                    path.name, [problem("zip_count", where="zip", found=found)]
                )
            with archive.open(inside[0]) as member:
                content = member.read(MOST_UNPACKED_BYTES + 1)
    except (zipfile.BadZipFile, OSError, RuntimeError, NotImplementedError) as error:
        raise InputError(
            path.name, [problem("zip_broken", where="zip", found=str(error))]
        ) from error
    if len(content) > MOST_UNPACKED_BYTES:
        found = f"more than {MOST_UNPACKED_BYTES // 1_000_000} MB unpacked"
        raise InputError(path.name, [problem("too_large", where="zip", found=found)])
    # The name decides how GDAL reads a .hgt: it says where the tile lies.
    return PurePosixPath(inside[0].filename).name, content
