"""Every sentence a person reads, and how numbers and times are shown in it.

Sentences live in the ``.toml`` files of this package, one file a part, one language a
folder. Each is a template with named placeholders; **the name's unit suffix says how
a value is shown**: ``{height_m}`` becomes ``12.4 m``, ``{wait_s}`` becomes ``1 h 05
min``. Code hands over SI values and never formats. A sentence about ``{count}`` things
may have a twin for one thing, its key ending in ``_one``.
"""

from __future__ import annotations

import math
import re
import string
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from functools import cache
from importlib import resources

from babel.dates import format_date
from babel.numbers import format_decimal

from evac.errors import EvacError
from evac.facts.finding import Finding
from evac.units import FOOT_M

Value = str | float | int | date

_ISO_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_STEPS = {0: Decimal("1"), 1: Decimal("0.1"), 2: Decimal("0.01")}
_PATTERNS = {0: "#,##0", 1: "#,##0.0", 2: "#,##0.00"}


@cache
def sentences(language: str) -> Mapping[str, str]:
    """All templates of one language, keyed ``part.key``."""
    found: dict[str, str] = {}
    folder = resources.files("evac.words") / language
    for entry in sorted(folder.iterdir(), key=lambda item: item.name):
        if entry.name.endswith(".toml"):
            part = entry.name.removesuffix(".toml")
            table = tomllib.loads(entry.read_text("utf-8"))
            # Findings of every part share one address, whichever file owns them.
            found.update(_flat("finding", table.pop("finding", {})))
            found.update(_flat(part, table))
    return found


def _flat(prefix: str, table: Mapping[str, object]) -> dict[str, str]:
    flat: dict[str, str] = {}
    for key, value in table.items():
        name = f"{prefix}.{key}"
        if isinstance(value, Mapping):
            flat.update(_flat(name, value))
        else:
            flat[name] = str(value)
    return flat


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """How to speak: language, number format, and feet beside metres or not.

    Parameters
    ----------
    language : str
        A folder of this package with the sentences, ``"en"``.
    number_locale : str
        A locale by which numbers and dates are written, such as ``"en"``, ``"de"``.
    feet : bool
        Show feet in brackets behind every length below 1,000 m.

    Examples
    --------
    >>> Words().show("height_m", 12.345)
    '12.3 m'
    >>> Words(feet=True).show("height_m", 12.345)
    '12.3 m (41 ft)'
    >>> Words(number_locale="de").show("height_m", 12.345)
    '12,3 m'
    >>> Words().show("height_m", 12.25)  # half up, never to the even digit
    '12.3 m'
    """

    language: str = "en"
    number_locale: str = "en"
    feet: bool = False

    def say(self, key: str, /, **values: Value) -> str:
        """Fill the sentence ``key`` with ``values``, each shown by its unit.

        Raises
        ------
        EvacError
            If there is no such sentence or a placeholder has no value.
        """
        if values.get("count") == 1 and self.has(f"{key}_one"):
            key = f"{key}_one"
        try:
            template = sentences(self.language)[key]
        except KeyError:
            message = f"no sentence {key!r} in language {self.language!r}"
            raise EvacError(message) from None
        names = {name for _, name, _, _ in string.Formatter().parse(template) if name}
        missing = sorted(names - values.keys())
        if missing:
            message = f"the sentence {key!r} lacks a value for {', '.join(missing)}"
            raise EvacError(message)
        shown = {name: self.show(name, values[name]) for name in names}
        return template.format(**shown)

    def has(self, key: str) -> bool:
        """Whether there is a sentence ``key``."""
        return key in sentences(self.language)

    def show(self, name: str, value: Value) -> str:
        """Show ``value`` as the unit suffix of ``name`` asks."""
        if isinstance(value, date):
            return str(format_date(value, format="long", locale=self.number_locale))
        if isinstance(value, str):
            # Findings hold days as text, so that they can be written as JSON.
            is_day = name == "day" and _ISO_DAY.fullmatch(value)
            return self.show(name, date.fromisoformat(value)) if is_day else value
        if not math.isfinite(value):
            return sentences(self.language)["numbers.not_known"]
        for suffix, shower in _SHOWERS.items():
            if name.endswith(suffix):
                return shower(self, float(value))
        if isinstance(value, int):
            return self.number(value, 0)
        return self.number(value, 1)

    def number(self, value: float, digits: int) -> str:
        """A plain number with ``digits`` (0 to 2) decimals, half up, by locale."""
        exact = Decimal(repr(float(value)))
        rounded = exact.quantize(_STEPS[digits], rounding=ROUND_HALF_UP)
        text = format_decimal(
            abs(rounded) if rounded.is_zero() else rounded,
            format=_PATTERNS[digits],
            locale=self.number_locale,
        )
        return str(text).replace("\u00a0", "\u202f")

    def length(self, value_m: float) -> str:
        """A length: 12.3 m, 1,553 m, 2.41 km."""
        if abs(value_m) >= 10_000:
            return f"{self.number(value_m / 1000, 1)} km"
        digits = 1 if abs(value_m) < 100 else 0
        text = f"{self.number(value_m, digits)} m"
        if self.feet and abs(value_m) < 1000:
            # A tenth of a metre is not nothing in feet.
            feet_digits = 0 if abs(value_m) >= 1 else 1
            text += f" ({self.number(value_m / FOOT_M, feet_digits)} ft)"
        return text

    def duration(self, value_s: float) -> str:
        """A duration: 45 s, 12 min, 1 h 05 min; minutes are rounded up."""
        if not math.isfinite(value_s):
            return sentences(self.language)["numbers.not_known"]
        if value_s < 0:
            return f"-{self.duration(-value_s)}"
        if value_s < 60:
            return f"{self.number(value_s, 0)} s"
        minutes = int(-(-value_s // 60))
        if minutes < 60:
            return f"{minutes} min"
        return f"{minutes // 60} h {minutes % 60:02d} min"

    def exact_duration(self, value_s: float) -> str:
        """A duration to the second, for what is measured with a watch: 6 min 42 s."""
        minutes, seconds = divmod(round(value_s), 60)
        return f"{minutes} min {seconds:02d} s"

    def step_seconds(self, value_s: float) -> str:
        """Seconds of one step, such as of a metre: 1.45, 4.8, 74.

        They are never rounded up to minutes: two of them are compared.
        """
        digits = 0 if value_s >= 10 else 1 if value_s >= 2 else 2
        return self.number(value_s, digits)

    def clock_time(self, value_s: float) -> str:
        """A clock time from seconds after midnight; the day after shows ``+1``."""
        minutes = int(value_s // 60)
        days, minutes = divmod(minutes, 1440)
        text = f"{minutes // 60:02d}:{minutes % 60:02d}"
        return text if days == 0 else f"{text} ({days:+d} d)"

    def finding(self, finding: Finding) -> tuple[str, str]:
        """The two sentences of a finding: what is so, and what to do."""
        values = {"where": finding.where, **finding.values}
        return (
            self.say(f"finding.{finding.key}.text", **values),
            self.say(f"finding.{finding.key}.remedy", **values),
        )


_SHOWERS: dict[str, Callable[[Words, float], str]] = {
    "_per_hour": lambda w, v: f"{w.number(v, 0)}/h",
    "_m_per_s": lambda w, v: f"{w.number(v, 1)} m/s",
    "_kg_per_m": lambda w, v: f"{w.number(v, 2)} kg/m",
    "_step_s": lambda w, v: f"{w.step_seconds(v)} s",
    "_exact_s": lambda w, v: w.exact_duration(v),
    "_clock_s": lambda w, v: w.clock_time(v),
    "_share": lambda w, v: f"{w.number(100 * v, 0)} %",
    "_deg": lambda w, v: f"{w.number(v, 0)}°",
    "_min": lambda w, v: w.duration(60 * v),
    "_mm": lambda w, v: f"{w.number(v, 0)} mm",
    "_kg": lambda w, v: f"{w.number(v, 0)} kg",
    "_kn": lambda w, v: f"{w.number(v, 1)} kN",
    "_n": lambda w, v: f"{w.number(v / 1000, 1)} kN",
    "_j": lambda w, v: f"{w.number(v / 1e6, 2)} MJ",
    "_c": lambda w, v: f"{w.number(v, 0)} °C",
    "_m": lambda w, v: w.length(v),
    "_s": lambda w, v: w.duration(v),
}
