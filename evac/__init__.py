"""Plan, rehearse and brief the rope evacuation of a chairlift or gondola.

The public, stable surface::

    from evac import open_lift, make_plan, write_documents

Everything else may change. Nothing heavy is imported until it is called for.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from evac.documents.bundle import write_documents
    from evac.inputs.folder import open_lift
    from evac.plan import make_plan

__version__ = "0.1.0"

__all__ = ["make_plan", "open_lift", "write_documents"]

_HOME = {
    "make_plan": "evac.plan",
    "open_lift": "evac.inputs.folder",
    "write_documents": "evac.documents.bundle",
}


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    message = f"module 'evac' has no attribute {name!r}"
    raise AttributeError(message)
