"""Files of a lift folder that look like input and that nobody read.

A table saved under another ending, a layer with a letter missing, a terrain that
``[files]`` does not name: the plan would be made without them, and nobody would know.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator

from evac.facts.finding import Finding, Severity
from evac.inputs.files import DEFAULT_NAMES, FolderFiles
from evac.inputs.layers import ENDINGS
from evac.inputs.problems import WORDS
from evac.inputs.sections import FilesSection

_TABLE_ENDINGS = (".csv", ".tsv", ".xlsx", ".xlsm", ".xls", ".ods")
_TERRAIN_ENDINGS = (".tif", ".tiff", ".asc", ".hgt")
_OTHER_ENDINGS = (".shp", ".toml")
"""A layer that is not read here, and a copy of ``lift.toml``."""
INPUT_ENDINGS = (*_TABLE_ENDINGS, *ENDINGS, *_TERRAIN_ENDINGS, *_OTHER_ENDINGS)
_NO_INPUT = (".", "~$")
"""How names of files begin that programs keep for themselves."""


def unread_findings(files: FolderFiles, named: FilesSection) -> list[Finding]:
    """A warning that names every file which looks like input and was not read.

    Parameters
    ----------
    files : FolderFiles
        After all of the folder was read.
    named : FilesSection
        Its ``[files]``.

    Returns
    -------
    list of Finding
        One, or [] where every such file was read. Files in folders of their own and
        other kinds of file, such as papers and pictures, are nobody's input.
    """
    read = {(files.path / name).resolve() for name in files.hashes}
    unread = [
        name
        for name in files.names()
        if name.lower().endswith(INPUT_ENDINGS)
        and not name.startswith(_NO_INPUT)
        and (files.path / name).resolve() not in read
    ]
    if not unread:
        return []
    shown = "; ".join(name + _hint(name, files, named) for name in unread)
    return [
        Finding(
            key="inputs.unread_file",
            severity=Severity.WARN,
            where=", ".join(unread),
            values={"names": shown, "count": len(unread)},
        )
    ]


def _hint(name: str, files: FolderFiles, named: FilesSection) -> str:
    """What is read in its place, or which name was likely meant; "" where neither."""
    stem = name.rpartition(".")[0].lower()
    if stem in DEFAULT_NAMES:
        for read in _names_read(stem, files, named):
            return WORDS.say("inputs.unread_instead", read=read)
    free = [key for key in DEFAULT_NAMES if not any(_names_read(key, files, named))]
    near = difflib.get_close_matches(stem, free, n=1, cutoff=0.8)
    if not near:
        return ""
    usual = DEFAULT_NAMES[near[0]]
    ending = "." + name.lower().rpartition(".")[2]
    meant = next((each for each in usual if each.endswith(ending)), usual[0])
    return WORDS.say("inputs.unread_meant", name=meant)


def _names_read(key: str, files: FolderFiles, named: FilesSection) -> Iterator[str]:
    """Names of the files that were read as one part of the folder."""
    stated = getattr(named, key)
    if isinstance(stated, list):
        yield from stated
    elif stated is not None:
        yield stated
    else:
        yield from (name for name in DEFAULT_NAMES[key] if name in files.hashes)
