"""What is painted. A scene takes (random, width, height, palette) and returns (h, w, 3); a manner paints from it."""

from __future__ import annotations

from collections.abc import Callable

from .canvas import Palette, Picture, Random
from .indoors import blocks, still_life
from .outdoors import fields, harbour, town, woods

Scene = Callable[[Random, int, int, Palette], Picture]

SCENES: dict[str, Scene] = {
    "harbour": harbour,
    "fields": fields,
    "still life": still_life,
    "woods": woods,
    "town": town,
    "blocks": blocks,
}
