"""How an unusual number is told: with what is usual beside it."""

from __future__ import annotations

from evac.facts.finding import Finding, Severity


def unusual(
    name: str,
    value: float,
    usual: tuple[float, float],
    *,
    unit: str,
    where: str = "",
    **more: float,
) -> list[Finding]:
    """One finding where `value` lies outside the usual range; [] inside.

    Parameters
    ----------
    name : str
        The finding's key below ``inputs``.
    value : float
        What the folder says.
    usual : (low, high)
        Bounds that are still usual.
    unit : str
        Ending by which the words show the three, such as ``"_m"``.
    where : str
        Kit, technique or support it is about.
    **more : float
        Further values of the sentences.
    """
    low, high = usual
    if low <= value <= high:
        return []
    values = {f"found{unit}": value, f"low{unit}": low, f"high{unit}": high, **more}
    return [
        Finding(
            key=f"inputs.{name}", severity=Severity.WARN, where=where, values=values
        )
    ]
