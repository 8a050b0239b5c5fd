"""The files of a lift folder while it is read: found, kept inside, hashed."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from evac.errors import InputError
from evac.inputs.contour_files import CONTOUR_ENDINGS
from evac.inputs.features import MOST_BYTES
from evac.inputs.layers import ENDINGS
from evac.inputs.problems import nearest, problem
from evac.inputs.sections import FilesSection
from evac.inputs.tables import RawTable, raw_table

TOML_NAME = "lift.toml"


def _layer_names(stem: str) -> tuple[str, ...]:
    return tuple(stem + ending for ending in ENDINGS)


DEFAULT_NAMES: Mapping[str, tuple[str, ...]] = {
    "supports": ("supports.csv", "supports.xlsx"),
    "ground": ("ground.csv", "ground.xlsx"),
    "terrain": (
        *("terrain.tif", "terrain.asc", "terrain.hgt"),
        *("terrain" + ending for ending in CONTOUR_ENDINGS),
    ),
    "teams": ("teams.csv", "teams.xlsx"),
    "kit": ("kit.csv", "kit.xlsx"),
    "techniques": ("techniques.csv", "techniques.xlsx"),
    "times": ("times.csv", "times.xlsx"),
    "hazards": _layer_names("hazards"),
    "access": _layer_names("access"),
    "muster": _layer_names("muster"),
    "drills": ("drills.csv", "drills.xlsx"),
}
"""Names that are looked for where ``[files]`` names none."""


@dataclass(slots=True, kw_only=True)
class FolderFiles:
    """The folder's files while they are read: contents come once, hashes stay."""

    path: Path
    hashes: dict[str, str] = field(default_factory=dict)

    def names(self) -> list[str]:
        """The files that the folder has now; [] where it has vanished meanwhile."""
        try:
            return sorted(item.name for item in self.path.iterdir() if item.is_file())
        except OSError:
            return []

    def note(self, name: str) -> None:
        """Hash a file that another module opens itself, without holding it."""
        try:
            with (self.path / name).open("rb") as file:
                self.hashes[name] = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError as error:
            raise _unreadable(error, name=name) from None

    def content(self, name: str) -> bytes:
        """All of a file, hashed."""
        content = _bytes_of(self.path / name, name=name)
        self.hashes[name] = hashlib.sha256(content).hexdigest()
        return content

    def inside(self, name: str, *, key: str = "") -> Path:
        """The file of that name, as ``[files]`` names it under `key`.

        Refused where it leaves the folder; a link is what it points to.
        """
        found = self.path / name
        if Path(name).is_absolute() or "\\" in name or "\x00" in name:
            raise _leaves_folder(name, key=key)
        if not found.resolve().is_relative_to(self.path.resolve()):
            raise _leaves_folder(name, key=key)
        if not found.is_file():
            near = nearest(name, self.names())
            raise InputError(
                name, [problem("no_file", where=f"[files] {key}", found="", near=near)]
            )
        return found


def _bytes_of(path: Path, *, name: str) -> bytes:
    try:
        if path.stat().st_size > MOST_BYTES:
            found = f"{path.stat().st_size:,} bytes"
            raise InputError(
                name,
                [problem("too_large", where="the file", found=found, most=MOST_BYTES)],
            )
        return path.read_bytes()
    except OSError as error:
        raise _unreadable(error, name=name) from None


def _unreadable(error: OSError, *, name: str) -> InputError:
    found = str(error.strerror)
    return InputError(name, [problem("unreadable", where="the file", found=found)])


def _leaves_folder(name: str, *, key: str) -> InputError:
    where = f"[files] {key}" if key else "the file"
    return InputError(TOML_NAME, [problem("leaves_folder", where=where, found=name)])


def file_name(files: FolderFiles, named: FilesSection, key: str) -> str | None:
    """The file's name inside the folder, or None where there is none.

    Raises
    ------
    InputError
        If the named one is not there, or several could be meant and none is named.
    """
    stated = getattr(named, key)
    if stated is not None:
        files.inside(stated, key=key)
        return str(stated)
    there = [name for name in DEFAULT_NAMES[key] if (files.path / name).is_file()]
    if len(there) > 1:
        names = ", ".join(there)
        where = f"[files] {key}"
        raise InputError(TOML_NAME, [problem("two_of_one", where=where, found=names)])
    for name in there:
        files.inside(name, key=key)
        return name
    return None


def required_table(files: FolderFiles, named: FilesSection, key: str) -> RawTable:
    """A table that every folder must have."""
    name = file_name(files, named, key)
    if name is None:
        wanted = DEFAULT_NAMES[key][0]
        raise InputError(
            wanted,
            [
                problem(
                    "no_file",
                    where=f"[files] {key}",
                    near=nearest(wanted, files.names()),
                )
            ],
        )
    return raw_table(files.content(name), file=name)
