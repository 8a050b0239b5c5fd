"""Squares that a telephone reads: a place as a ``geo:`` address (RFC 5870)."""

from __future__ import annotations

import io

import segno

from evac.facts.lift import Lift, Support
from evac.frame import Frame


def geo_address(lift: Lift, support: Support) -> str:
    """The place of a support as RFC 5870 writes it, to about one metre.

    WGS 84 is the address's own default, so it is not named in it.
    """
    frame = Frame(latitude_deg=lift.latitude_deg, longitude_deg=lift.longitude_deg)
    latitude, longitude = frame.to_degrees(x_m=support.x_m, y_m=support.y_m)
    return f"geo:{float(latitude):.5f},{float(longitude):.5f}"


def qr_svg(text: str) -> str:
    """A QR code with its quiet zone, black on white, as SVG."""
    picture = io.BytesIO()
    segno.make(text, error="m", micro=False).save(
        picture, kind="svg", border=4, xmldecl=False, light="white", omitsize=True
    )
    return picture.getvalue().decode("utf-8")
