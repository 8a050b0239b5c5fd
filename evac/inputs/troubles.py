"""All that is wrong in a folder, gathered before anything is said."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

from evac.errors import FolderError, InputError
from evac.inputs.lift_toml import NewerSchemaError

Read = TypeVar("Read")


@dataclass(slots=True, kw_only=True)
class Troubles:
    """The errors met so far while the files of a folder are read."""

    errors: list[InputError] = field(default_factory=list)

    def tried(self, read: Callable[[], Read]) -> Read | None:
        """What `read` gives, or None where it refuses: then its error is kept.

        A folder of a newer form is refused at once, since nothing in it can be judged.
        """
        try:
            return read()
        except NewerSchemaError:
            raise
        except InputError as error:
            self.errors.append(error)
            return None

    def require_none(self) -> None:
        """Raise what was met, if anything was.

        Raises
        ------
        InputError
            The one error, or a `FolderError` of all of them.
        """
        if len(self.errors) == 1:
            raise self.errors[0]
        if self.errors:
            raise FolderError(self.errors)

    def settled(self, value: Read | None) -> Read:
        """A value that must be there once nothing was wrong."""
        self.require_none()
        if value is None:
            message = "a part of the folder was neither read nor refused"
            raise AssertionError(message)
        return value
