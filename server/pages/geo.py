"""
Where something is as a link that a phone opens with its own map (RFC 5870, WGS 84).

>>> geo_uri(51.5, -0.12), geo_uri(48.198634, 16.371648, 40)
('geo:51.5,-0.12', 'geo:48.198634,16.371648;u=40')
"""

from __future__ import annotations

from .forms import figure

POLE = 90.0


def geo_uri(latitude: float, longitude: float, within_m: float | None = None) -> str:
    """
    A point on the globe as a geo: URI, to the last digit that is kept.

    latitude, longitude  [degrees], north and east positive;  within_m  how uncertain they are [m], None: not known

    All meridians meet at a pole: there the longitude is 0 (section 3.4.2). An uncertainty that is not said is
    not known; the digits say nothing of it (3.4.3).
    """
    if abs(latitude) == POLE:
        longitude = 0.0
    point = ",".join(figure(degrees + 0.0) for degrees in (latitude, longitude))  # there is no −0
    return f"geo:{point}" if within_m is None else f"geo:{point};u={figure(within_m)}"
