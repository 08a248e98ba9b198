"""The report's controls: hidden until the script runs, in the order in which the keyboard meets them."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np

from bedsim.units import DEG
from bedsim.views.report_data import LAMPS
from bedsim.views.report_figures import Seen
from bedsim.wall.surface import RAKING

_COMPASS = {0: "+X, right", 90: "+Y, back", 180: "-X, left", 270: "-Y, front"}


def controls(row: Sequence[Seen]) -> str:
    """Place, wall, heights shown, lamp and magnifications."""
    first = row[0]
    probes = "".join(
        _option(name, name, name == first.wall.probe) for name in first.reported.run.layers.probe_name
    )
    angle = float(np.arctan2(first.wall.normal[1], first.wall.normal[0]) / DEG)
    place = first.judged.place
    named = f"{place.wall.replace(' deg', '°')}{' (shows most)' if place.sought else ''}"
    walls = _option(f"{angle:.3f}", named, True) + "".join(
        _option(str(a), f"{a}°" + (f" ({_COMPASS[a]})" if a in _COMPASS else ""), False)
        for a in range(0, 360, 15)
    )
    spans = "".join(
        _option(v, t, v == "0") for v, t in (("0", "whole print"), ("50", "50 mm"), ("20", "20 mm"))
    )
    lamp = (
        f'<label>Lamp off the wall <input type="range" id="lamp" min="{LAMPS[0]}" max="{LAMPS[-1]}" '
        f'value="{90 - RAKING / DEG:.0f}"></label>'
    )
    return (
        '<div class="controls" hidden>'
        f'<label>Place <select id="probe">{probes}</select></label>'
        f'<label>Wall facing <select id="facing">{walls}</select></label>'
        f'<label>Heights <select id="span">{spans}</select></label>{lamp}'
        '<label>Shift drawn <input type="range" id="mag-shift" min="0" max="12"></label>'
        '<label>Height error drawn <input type="range" id="mag-height" min="0" max="15"></label></div>'
    )


def _option(value: str, text: str, chosen: bool) -> str:
    return f'<option value="{escape(value, quote=True)}"{" selected" * chosen}>{escape(text)}</option>'


def layer_bar() -> str:
    """The layer slider, at the foot of the window as long as the charts are in it."""
    return (
        '<div class="layerbar" hidden><label>Layer <input type="range" id="layer" min="0" max="1" '
        'value="0"></label>'
        '<b id="layer-text"></b><span id="layer-errors"></span></div>'
    )
