"""One HTML page that needs no network: every asset that folium links, written in.

`offlinefolium` ships the text of every file that folium would fetch, keyed by its
address. The table is private to that package, so both are pinned and a test opens the
page with the network off.
"""

from __future__ import annotations

import re

import folium
from offlinefolium.elements import _res as shipped_texts

from evac.errors import EvacError

_NEEDED_SCRIPTS = ("leaflet", "jquery")
_NEEDED_STYLES = ("leaflet_css",)
_LINKED_SCRIPT = re.compile(r'<script src="(https?://[^"]+)"></script>')
_LINKED_STYLE = re.compile(r'<link rel="stylesheet" href="(https?://[^"]+)"\s*/?>')
_STYLE_IMAGE = re.compile(r"url\((?!['\"]?(?:data:|#))[^)]*\)")
_RANDOM_ID = re.compile(r"\b([a-z_]+)_([0-9a-f]{32})(?![0-9a-f])")


def use_few_assets(page_map: folium.Map) -> None:
    """Keep only the assets our maps use; no icon fonts, no component library."""
    page_map.default_js = [
        pair for pair in page_map.default_js if pair[0] in _NEEDED_SCRIPTS
    ]
    page_map.default_css = [
        pair for pair in page_map.default_css if pair[0] in _NEEDED_STYLES
    ]


def offline_page(html: str) -> str:
    """The same page with its linked assets written in and its ids numbered.

    Raises
    ------
    EvacError
        If folium linked an asset that the offline package does not ship: the page
        would be blank in a hut, which must not be found out there.
    """
    html = _LINKED_SCRIPT.sub(lambda hit: f"<script>{_text(hit[1])}</script>", html)
    html = _LINKED_STYLE.sub(
        # Images of the style sheet lie beside it on its server; we use none of them.
        lambda hit: f"<style>{_STYLE_IMAGE.sub('none', _text(hit[1]))}</style>",
        html,
    )
    return _number_ids(html)


def _text(address: str) -> str:
    try:
        return str(shipped_texts[address])
    except KeyError:
        message = (
            f"the map links {address}, which is not shipped for offline use; "
            "folium and folium-offline must be the versions of pyproject.toml"
        )
        raise EvacError(message) from None


def _number_ids(html: str) -> str:
    numbers: dict[str, int] = {}

    def numbered(hit: re.Match[str]) -> str:
        return f"{hit[1]}_{numbers.setdefault(hit[2], len(numbers))}"

    return _RANDOM_ID.sub(numbered, html)
