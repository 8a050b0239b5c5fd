"""Whether a technique's cell ``approval`` says that it is approved."""

from __future__ import annotations

import string

_MARKS = string.punctuation + "\u2013\u2014\u2026"
_NO_FIRST = frozenset(
    {
        *("no", "not", "none", "nil", "n", "na", "n/a", "false", "0"),
        *("never", "without", "unknown", "missing", "open", "draft", "applied"),
        *("requested", "nein", "nicht", "kein", "keine", "offen", "non", "aucun"),
        *("aucune", "pas", "nei", "nej", "ikke", "ingen", "nessuna", "nessuno"),
    }
)
"""First words that say no: also those of people who answer in their own language."""
_NO_ANYWHERE = frozenset(
    {
        *("pending", "outstanding", "awaited", "awaiting", "tbd", "tbc", "todo"),
        *("unapproved", "expired", "lapsed", "withdrawn", "revoked", "suspended"),
        *("refused", "rejected", "denied"),
    }
)
_NO_PHRASES = (
    "not approved",
    "not yet",
    "to be",
    "in progress",
    "in preparation",
    "under review",
)
_NUMBERED = "no"
"""``No. 12/2026`` is a reference, ``no`` an answer."""


def is_approved(approval: str) -> bool:
    """Whether people may be planned to be lowered by a technique.

    Anything that says no, not yet or no longer keeps the technique out of the plan; a
    reference that is taken for a no comes to light as a finding, while a no that is
    taken for a reference would put people on a rope by it (rule 12).

    Parameters
    ----------
    approval : str
        The cell as the folder holds it. A blank one says nothing, which is a finding
        of its own (`evac.gear.doubts`), and counts as approved here.

    Returns
    -------
    bool

    Examples
    --------
    >>> [is_approved(text) for text in ("DB 2026-1", "No. 12/2026", "no", "not yet")]
    [True, True, False, False]
    """
    if not approval.strip():
        return True
    every = [word.strip(_MARKS) for word in approval.casefold().split()]
    words = [word for word in every if word]
    if not words or not _NO_ANYWHERE.isdisjoint(words):
        return False
    said = f" {' '.join(words)} "
    if any(f" {phrase} " in said for phrase in _NO_PHRASES):
        return False
    if words[0] == _NUMBERED and any(
        letter.isdigit() for letter in "".join(words[1:2])
    ):
        return True
    return words[0] not in _NO_FIRST
