"""How it is painted. A manner takes (random, width, height, palette, scene name) and returns a `Painting`."""

from __future__ import annotations

from collections.abc import Callable

from .canvas import Painting, Palette, Random
from .drawn import flat, lines, minimal, tide
from .pasted import collage
from .soft import colour_field, wash
from .textured import impasto, knife

Manner = Callable[[Random, int, int, Palette, str], Painting]

MANNERS: dict[str, Manner] = {
    "impasto": impasto,
    "knife": knife,
    "flat": flat,
    "lines": lines,
    "colour field": colour_field,
    "tide": tide,
    "minimal": minimal,
    "collage": collage,
    "wash": wash,
}
