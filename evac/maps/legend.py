"""The legend beside the map: every sign is drawn, then named."""

from __future__ import annotations

from collections.abc import Sequence

from evac.facts.plan import Plan
from evac.figures.carrier_words import key_of
from evac.figures.map_labels import whole_metres
from evac.maps.layers import HAZARD_STYLE, ROUTE_STYLE, WAY_STYLE
from evac.maps.marks import safe
from evac.maps.reach import REACH_STYLES
from evac.maps.relief import Contour
from evac.words import Words


def legend_html(plan: Plan, lines: Sequence[Contour], words: Words) -> str:
    """The whole legend as HTML."""
    rows = [(_stroke(style), f"legend_{kind}") for kind, style in REACH_STYLES.items()]
    rows += [
        (
            _sign("height", words.say("map.legend_height_sign")),
            key_of(words, "map.legend_height", plan.lift).removeprefix("map."),
        ),
        (_stroke({"color": "#444", "weight": 8}), "legend_zone"),
        (_stroke(ROUTE_STYLE), "legend_route"),
        (_stroke(WAY_STYLE), "legend_way"),
        (_stroke(HAZARD_STYLE), "legend_hazard"),
        (_sign("support", "7"), "legend_support"),
        (_sign("muster", words.say("map.sign_muster")), "legend_muster"),
        (_sign("start", words.say("map.sign_start")), "legend_start"),
    ]
    items = [_item(sign, words.say(f"map.{key}")) for sign, key in rows]
    notes = [words.say("map.legend_offset"), words.say("map.legend_left_out")]
    if plan.lift.terrain is None:
        notes.append(words.say("map.no_terrain"))
    else:
        levels = sorted({line.elevation_m for line in lines})
        if len(levels) > 1:
            interval = whole_metres(levels[1] - levels[0], words)
            notes.append(words.say("map.legend_contour", interval=interval))
        notes.append(words.say("map.legend_relief", source=plan.lift.terrain.source))
    items += [f"<li>{safe(note)}</li>" for note in notes]
    return (
        f'<details class="legend" open><summary>{safe(words.say("map.legend"))}'
        f"</summary><ul>{''.join(items)}</ul></details>"
    )


def _item(sign: str, text: str) -> str:
    return f"<li>{sign}<div>{safe(text)}</div></li>"


def _stroke(style: dict[str, object]) -> str:
    dashes = style.get("dash_array")
    dash = f' stroke-dasharray="{dashes}" stroke-linecap="round"' if dashes else ""
    return (
        '<svg width="46" height="12" aria-hidden="true"><line x1="4" y1="6" x2="42" '
        f'y2="6" stroke="{style["color"]}" stroke-width="{style["weight"]}"'
        f"{dash}/></svg>"
    )


def _sign(kind: str, text: str) -> str:
    return f'<div class="sign"><span class="{kind}">{safe(text)}</span></div>'
