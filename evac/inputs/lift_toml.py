"""``lift.toml``, read and checked key by key."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from evac.errors import InputError, Problem
from evac.inputs.problems import did_you_mean, problem, told
from evac.inputs.sections import FilesSection, LiftToml
from evac.inputs.tables import decode

SCHEMA = 1
"""The newest form of ``lift.toml`` that is understood here."""
MOST_BYTES = 2_000_000

_ERROR_LINE = re.compile(r"\(at line (\d+), column (\d+)\)")


class NewerSchemaError(InputError):
    """The folder was made by a newer `evac`: nothing in it can be judged."""


def read_lift_toml(content: bytes, *, file: str = "lift.toml") -> LiftToml:
    """Read and check ``lift.toml``.

    Raises
    ------
    InputError
        Listing every key that is missing, unknown, or out of bounds.
    """
    table = toml_table(content, file=file)
    try:
        return LiftToml.model_validate(table)
    except ValidationError as error:
        problems = [
            _told(detail, table=table) for detail in error.errors(include_url=False)
        ]
        raise InputError(file, problems) from None


def named_files(content: bytes) -> FilesSection | None:
    """The names in ``[files]``, also where other parts of ``lift.toml`` are wrong.

    None where that section cannot be read either: which files belong to the folder is
    not known then.
    """
    try:
        table = toml_table(content, file="lift.toml")
        return FilesSection.model_validate(table.get("files", {}))
    except (InputError, ValidationError):
        return None


def toml_table(content: bytes, *, file: str) -> dict[str, Any]:
    """The bare table of a TOML file whose schema is one that is understood.

    Raises
    ------
    InputError
        If it is no TOML, or of a newer schema.
    """
    if len(content) > MOST_BYTES:
        size = f"{len(content):,} bytes"
        raise InputError(
            file, [problem("too_large", where="the file", found=size, most=MOST_BYTES)]
        )
    text = decode(content, file=file).replace("\r\n", "\n")
    try:
        table = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        # A number of thousands of digits is a bare ValueError.
        raise InputError(file, [_syntax_problem(error, text)]) from None
    schema = table.get("schema")
    if isinstance(schema, int) and not isinstance(schema, bool) and schema > SCHEMA:
        raise NewerSchemaError(
            file, [problem("newer_schema", where="schema", found=schema, schema=SCHEMA)]
        )
    if schema != SCHEMA or isinstance(schema, bool):
        raise InputError(
            file,
            [problem("no_schema", where="schema", found=schema, schema=SCHEMA)],
        )
    return table


def _syntax_problem(error: Exception, text: str) -> Problem:
    place = _ERROR_LINE.search(str(error))
    lines = text.split("\n")
    if place is None or int(place[1]) > len(lines):
        return problem("not_toml", where="the file", found=lines[-1])
    line = int(place[1])
    return problem("not_toml", where=f"line {line}", found=lines[line - 1])


def _told(detail: ErrorDetails, *, table: dict[str, Any]) -> Problem:
    """One pydantic error with the key as it is written in the file."""
    path = [part for part in detail["loc"] if part != "[key]"]
    context: dict[str, Any] = detail.get("ctx", {})
    if "column" in context:
        path.append(context["column"])
    names = [str(part) for part in path if not isinstance(part, int)]
    where = _where(path)
    if detail["type"] == "missing" and len(path) == 1:
        return problem("missing_section", where=where, name=names[0])
    if detail["type"] == "extra_forbidden":
        known = _known_keys(path[:-1])
        near = did_you_mean(names[-1], known)
        return problem("unknown_key", where=where, found=names[-1], near=near)
    return told(
        detail,
        where=where,
        found=_value_at(table, path),
        remedies=(f"inputs.column.lift_toml.{'_'.join(names[:-1])}.{names[-1]}",),
    )


def _where(path: list[Any]) -> str:
    """``[tension] force_kn``, ``[[limit]] 1, minutes``, ``[rope]``."""
    sections: list[str] = []
    place = ""
    rest = list(path)
    while rest and isinstance(rest[0], str) and (len(rest) > 1 or not sections):
        sections.append(rest.pop(0))
        if rest and isinstance(rest[0], int):
            place = f" {rest.pop(0) + 1}"
            break
    if place:
        head = f"[[{'.'.join(sections)}]]{place}"
        return f"{head}, {'.'.join(map(str, rest))}" if rest else head
    head = f"[{'.'.join(sections)}]"
    return f"{head} {'.'.join(map(str, rest))}" if rest else head


def _value_at(table: Any, path: list[Any]) -> object:
    for part in path:
        try:
            table = table[part]
        except (KeyError, IndexError, TypeError):
            return ""
    return "" if isinstance(table, dict) else table


def _known_keys(path: list[Any]) -> list[str]:
    """The keys of the section at ``path``."""
    model: Any = LiftToml
    for part in path:
        if isinstance(part, int):
            continue
        fields = model.model_fields
        if part not in fields:
            return []
        model = section_of(fields[part].annotation)
        if model is None:
            return []
    return [field.alias or name for name, field in model.model_fields.items()]


def section_of(annotation: Any) -> Any:
    """The section class inside ``Section``, ``tuple[Section, ...]`` or a dict of it."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in getattr(annotation, "__args__", ()):
        found = section_of(part)
        if found is not None:
            return found
    return None
