"""The only place that writes to disk: a whole output folder, or nothing.

Files are built in a hidden folder beside the target, under a lock; then the folders
are swapped. A run that is stopped, killed or out of space leaves the target as it was;
a swap that was cut in half is repaired by the next run.
"""

from __future__ import annotations

import glob
import hashlib
import json
import os
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path, PurePosixPath

from filelock import FileLock, Timeout

from evac.errors import OutputError

MANIFEST = "manifest.json"
_MAKER = "evac"


def publish(out: Path, files: Mapping[str, bytes]) -> None:
    """Replace the folder `out` by exactly `files` and a manifest of them.

    Parameters
    ----------
    out : Path
        The folder to write; absent, empty, or written by an earlier run and
        unchanged since.
    files : mapping of str to bytes
        Names relative to `out`, with ``/`` between folders.

    Raises
    ------
    OutputError
        If the folder holds anything else, another run is writing it, or the disk
        refuses. Nothing has changed then.
    """
    try:
        # Of a working folder that has vanished there is no absolute path. Where a
        # link leads to, there the folder is replaced: the link stays one.
        target = Path(os.path.realpath(out))
        target.parent.mkdir(parents=True, exist_ok=True)
        with _locked(target):
            _repair(target)
            _check_replaceable(target)
            stage = target.parent / f".{target.name}.new-{os.getpid()}"
            try:
                _fill(stage, files)
                _swap(stage, target)
            finally:
                shutil.rmtree(stage, ignore_errors=True)
    except Timeout:
        message = (
            f"another run of evac is writing {out} right now; wait until it has "
            "ended, or choose another --out"
        )
        raise OutputError(message) from None
    except OSError as error:
        message = (
            f"cannot write {out}: {error.strerror or error}; nothing was changed. "
            "Choose a folder you may write to, with space on its disk"
        )
        raise OutputError(message) from error


def create_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write a new folder for the user to work in: whole, or not at all.

    Unlike :func:`publish` it leaves no manifest, since its files are the user's from
    now on.

    Raises
    ------
    OutputError
        If `folder` exists and is not empty, or the disk refuses.
    """
    try:
        target = Path(os.path.abspath(folder))
        stage = target.parent / f".{target.name}.new-{os.getpid()}"
        target.parent.mkdir(parents=True, exist_ok=True)
        try:
            _fill(stage, files)
            (stage / MANIFEST).unlink()
            if target.exists():
                target.rmdir()
            stage.rename(target)
        finally:
            shutil.rmtree(stage, ignore_errors=True)
    except OSError as error:
        message = (
            f"cannot write {folder}: {error.strerror or error}; nothing was changed. "
            "Choose a new folder on a disk you may write to"
        )
        raise OutputError(message) from error


@contextmanager
def _locked(target: Path) -> Iterator[None]:
    """Hold the lock of an output folder; its file is gone afterwards, come what may."""
    path = target.parent / f".{target.name}.lock"
    with FileLock(path, timeout=0):
        try:
            yield
        finally:
            path.unlink(missing_ok=True)


def _fill(stage: Path, files: Mapping[str, bytes]) -> None:
    shutil.rmtree(stage, ignore_errors=True)
    stage.mkdir()
    for name, content in files.items():
        relative = PurePosixPath(name)
        if relative.is_absolute() or ".." in relative.parts:
            message = f"a file of the output would leave its folder: {name!r}"
            raise OutputError(message)
        path = stage.joinpath(*relative.parts)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    manifest = {
        "made_by": _MAKER,
        "files": {name: _digest(files[name]) for name in sorted(files)},
    }
    text = json.dumps(manifest, indent=1, sort_keys=True, ensure_ascii=False) + "\n"
    (stage / MANIFEST).write_bytes(text.encode("utf-8"))


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _swap(stage: Path, target: Path) -> None:
    old = target.parent / f".{target.name}.old-{os.getpid()}"
    if target.exists():
        target.rename(old)
    try:
        stage.rename(target)
    except BaseException:
        # Also when somebody stops the run just here.
        if old.exists() and not target.exists():
            old.rename(target)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _repair(target: Path) -> None:
    # We hold the lock, so whatever lies here was left by a run that died.
    name = glob.escape(target.name)
    for stale in target.parent.glob(f".{name}.new-*"):
        shutil.rmtree(stale, ignore_errors=True)
    for old in sorted(target.parent.glob(f".{name}.old-*")):
        if target.exists():
            shutil.rmtree(old, ignore_errors=True)
        else:
            old.rename(target)


def _check_replaceable(target: Path) -> None:
    if not target.exists():
        return
    if not target.is_dir():
        message = f"{target} is a file, not a folder; choose another --out"
        raise OutputError(message)
    present = {
        path.relative_to(target).as_posix()
        for path in target.rglob("*")
        if not path.is_dir()
    }
    if not present:
        return
    known = _own_files(target)
    if known is None:
        message = (
            f"{target} is not empty and was not written by evac; choose an empty or "
            "new folder for --out"
        )
        raise OutputError(message)
    strange = sorted(
        name
        for name in present - {MANIFEST}
        if known.get(name) != _digest((target / name).read_bytes())
    )
    if strange:
        shown = ", ".join(strange[:5]) + (" and more" if len(strange) > 5 else "")
        message = (
            f"{target} holds files that were added or changed since evac wrote it "
            f"({shown}); move them elsewhere, or choose another --out"
        )
        raise OutputError(message)


def _own_files(target: Path) -> dict[str, str] | None:
    try:
        manifest = json.loads((target / MANIFEST).read_text("utf-8"))
        if manifest["made_by"] != _MAKER:
            return None
        return {str(name): str(digest) for name, digest in manifest["files"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
