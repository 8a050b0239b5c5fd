"""Whether a technique's cell ``approval`` says that it is approved."""

from __future__ import annotations

import re
import unicodedata
from itertools import pairwise

from evac.words import Words

_NO_ANYWHERE = frozenset(
    {
        *("not", "cannot", "never", "none", "nil", "n/a", "unknown", "missing"),
        *("pending", "outstanding", "awaited", "awaiting", "awaits", "waiting"),
        *("tbd", "tbc", "todo", "open", "draft", "applied", "applying", "requested"),
        *("submitted", "unapproved", "unsigned", "expired", "lapsed", "withdrawn"),
        *("revoked", "suspended", "refused", "rejected", "denied", "declined"),
        *("cancelled", "canceled", "invalid", "void"),
        # People answer in their own language; accents are taken off before.
        *("nein", "nicht", "kein", "keine", "keiner", "offen", "ausstehend"),
        *("beantragt", "eingereicht", "bearbeitung", "entwurf", "abgelaufen"),
        *("abgelehnt", "widerrufen", "entzogen", "verweigert", "ungultig", "ungueltig"),
        *("fehlt", "fehlend", "unbekannt"),
        *("non", "aucun", "aucune", "pas", "attente", "demande", "demandee"),
        *("refuse", "refusee", "rejete", "rejetee", "expire", "expiree", "perime"),
        *("perimee", "retire", "retiree", "suspendu", "suspendue", "manquant"),
        *("manquante", "brouillon", "inconnu", "inconnue"),
        *("nessun", "nessuna", "nessuno", "attesa", "richiesto", "richiesta"),
        *("scaduto", "scaduta", "negato", "negata", "rifiutato", "rifiutata"),
        *("respinto", "respinta", "revocato", "revocata", "sospeso", "sospesa"),
        *("mancante", "manca", "bozza"),
        *("nei", "nej", "ikke", "ingen", "inte"),
    }
)
"""Words that say no, not yet or no longer wherever they stand (common practice, no
source)."""
_NO_FIRST = frozenset(
    {
        *("without", "ohne", "sans", "senza", "false", "0", "to"),
        *("request", "application", "antrag", "proposal"),
    }
)
"""Words that say no as the first one: "approved without conditions" is an approval."""
_NO_ALONE = frozenset({"n", "na"})
"""Letters that say no where nothing stands beside them: "N. Smith" is a name."""
_NO_PHRASES = (
    "no approval",
    "not approved",
    "non approved",
    "un approved",
    "without approval",
    "in progress",
    "in preparation",
    "under review",
    "in prufung",
    "steht aus",
    "steht noch aus",
    "en cours",
    "in corso",
)
_TO_COME = frozenset(
    {
        *("approved", "confirmed", "granted", "given", "issued", "obtained", "signed"),
        *("requested", "submitted", "advised", "agreed", "announced", "decided"),
        *("determined", "checked", "clarified", "done", "processed", "reviewed"),
        *("prepared", "provided", "added", "completed"),
    }
)
"""After "be" or "being" not yet so; "to be renewed 2028" is said of an approval."""
_NUMERO = frozenset({"no", "n", "pas"})
"""``No. 12/2026`` and ``PAS 12`` are references; ``no`` is an answer."""
_TOKEN = re.compile(r"[^\W_]+(?:['\u2019.\-][^\W_]+)*")
_BREAK = re.compile(r"[,;:!?()\[\]=\n\u2013\u2014]")
_NOT_APPLICABLE = re.compile(r"\bn\s*[/.]\s*a\b")
_DOUBT = re.compile(r"\?(?!\w)")


def is_approved(approval: str) -> bool:
    """Whether people may be planned to be lowered by a technique.

    Anything that says no, not yet or no longer keeps the technique out of the plan; a
    reference that is taken for a no comes to light as a finding, while a no that is
    taken for a reference would put people on a rope by it (rule 12).

    Parameters
    ----------
    approval : str
        The cell as the folder holds it. A blank one says nothing, which is a finding
        of its own (`evac.gear.doubts`), and counts as approved here; so does what a
        folder made from OpenStreetMap says, where everything is assumed.

    Returns
    -------
    bool

    Examples
    --------
    >>> [is_approved(text) for text in ("DB 2026-1", "No. 12/2026", "no", "not yet")]
    [True, True, False, False]
    """
    text = approval.strip()
    if not text or text == Words().say("osm.approval"):
        return True
    plain = _plain(text)
    found = list(_TOKEN.finditer(plain))
    if not found or _DOUBT.search(plain) or _NOT_APPLICABLE.search(plain):
        return False
    words = [token.group() for token in found]
    # "DB 2026-1-draft": hyphens hold words together.
    parts = [part for word in words for part in word.split("-")]
    said = f" {' '.join(parts)} "
    return not (
        words[0] in _NO_FIRST
        or any(f" {phrase} " in said for phrase in _NO_PHRASES)
        or any(word.endswith(("n't", "n\u2019t")) for word in words)
        or any(a in ("be", "being") and b in _TO_COME for a, b in pairwise(words))
        or not _NO_ANYWHERE.isdisjoint(_without_numeros(plain, found))
        or any(clause.strip(" .-") in _NO_ALONE for clause in _BREAK.split(plain))
    )


def _plain(text: str) -> str:
    """Small letters without accents, so that "Refusé" is "refuse"."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    return "".join(sign for sign in apart if not unicodedata.combining(sign))


def _without_numeros(plain: str, found: list[re.Match[str]]) -> list[str]:
    """All words; "no" as "not", and left out where a number follows as its own."""
    words: list[str] = []
    for token, after in zip(found, [*found[1:], None], strict=True):
        word = token.group()
        if word in _NUMERO and after is not None:
            between = plain[token.end() : after.start()]
            is_number = any(sign.isdigit() for sign in after.group())
            # "no, 3 May" answers; "No. 3" counts.
            if is_number and not between.strip(" .\u00b0"):
                continue
        words.append("not" if word == "no" else word)
        # "Open-air" is not open, and "non-slip" says nothing of the approval.
        words += word.split("-")[1:]
    return words
