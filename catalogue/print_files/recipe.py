"""The recipe of a print file: everything that determines its pixels, as a versioned record that reads back exactly."""

import json
import re
from dataclasses import asdict, dataclass, fields
from typing import Any

from catalogue.errors import Refused

# Covers the steps and their arithmetic too: another order of steps, or other sums, need a new version. Version 2
# sharpens; what is not sharpened stays version 1, with the very text and bits that it had.
PLAIN_VERSION, SHARPENED_VERSION = VERSIONS = (1, 2)
EDGES = ("continued", "mirrored", "stretched", "colour")
FITS = ("fill", "whole")
KERNELS = ("lanczos3", "catmull-rom", "mitchell")
INTENTS = ("perceptual", "relative", "saturation", "absolute")
COMPRESSIONS = ("none", "deflate", "lzw")
MOST_RADIUS, MOST_AMOUNT = 20.0, 500.0     # px, percent
MOST_MM, MOST_MARGIN_MM, LEAST_PPI, MOST_PPI = 20_000.0, 500.0, 10, 4_800
_DIGEST = re.compile("[0-9a-f]{64}")
_COLOUR = re.compile(r"white|black|\d{1,3}(,\d{1,3}){0,3}")
_LENGTHS = ("width_mm", "height_mm", "border_mm", "wrap_mm", "bleed_mm", "stretch_mm")
_CHOICES = {"edge": EDGES, "fit": FITS, "kernel": KERNELS, "intent": INTENTS, "compression": COMPRESSIONS,
            "turn": (0, 90, 180, 270), "bits": (8, 16), "version": VERSIONS}


@dataclass(frozen=True, slots=True)
class Recipe:
    """What a print file is made from and how. Lengths in mm; sizes are those of the finished print, after the turn.

    ``crop``: left, top, width and height in pixels of the master as shown, before the turn; None: all of it. What is
    left is cut centrally to the print's proportions (``fit`` "fill") or shown whole on white ("whole"). A border lies
    within the finished size, wrap and bleed lie beyond it and are filled as ``edge`` says: the picture runs on, or its
    outermost millimetres are mirrored, as they are or (``stretch_mm`` of them) stretched, or one colour ("white",
    "black", or levels of 0–255 in the file's own colour space). ``profile_sha256``: of the ICC profile to convert to;
    "": none, the master's profile is embedded. ``sharpen``: radius (standard deviation, in pixels of the print file),
    amount in percent and threshold in levels of 0–255 of an unsharp mask. ``version`` follows from the rest.
    Raises Refused for values that make no print.
    """

    master_sha256: str
    width_mm: float
    height_mm: float
    ppi: int
    turn: int = 0           # degrees clockwise
    crop: tuple[int, int, int, int] | None = None
    fit: str = "fill"
    border_mm: float = 0.0
    wrap_mm: float = 0.0
    edge: str = "continued"
    stretch_mm: float = 5.0
    edge_colour: str = "white"
    bleed_mm: float = 0.0
    marks: bool = False
    kernel: str = "lanczos3"
    profile_sha256: str = ""
    intent: str = "relative"
    black_point: bool = True
    bits: int = 16
    compression: str = "none"
    version: int = PLAIN_VERSION
    sharpen: tuple[float, float, float] | None = None

    def __post_init__(self) -> None:
        for name in _LENGTHS:
            value = getattr(self, name)
            if isinstance(value, bool) or not isinstance(value, int | float):
                raise Refused(f"{name} is not a length.")
            object.__setattr__(self, name, float(value))
        if self.sharpen is not None:
            if not isinstance(self.sharpen, tuple) or len(self.sharpen) != 3 or any(
                    isinstance(v, bool) or not isinstance(v, int | float) for v in self.sharpen):
                raise Refused("Sharpening is three numbers: radius, amount and threshold.")
            object.__setattr__(self, "sharpen", tuple(map(float, self.sharpen)))
        object.__setattr__(self, "version", SHARPENED_VERSION if self.sharpen else PLAIN_VERSION)
        if fault := self._fault():
            raise Refused(fault)

    def _fault(self) -> str:
        for name, allowed in _CHOICES.items():
            value = getattr(self, name)
            if type(value) is not type(allowed[0]) or value not in allowed:
                return f"{name} is {value!r}; it can be {', '.join(map(str, allowed))}."
        if not all(0 < side <= MOST_MM for side in (self.width_mm, self.height_mm)):
            return f"Each side of a print must be more than 0 and at most {MOST_MM:,.0f} mm."
        if not all(0 <= margin <= MOST_MARGIN_MM for margin in (self.border_mm, self.wrap_mm, self.bleed_mm)):
            return f"Border, wrap and bleed must be from 0 to {MOST_MARGIN_MM:g} mm."
        if not 0 < self.stretch_mm <= MOST_MARGIN_MM:
            return f"The stretched strip must be more than 0 and at most {MOST_MARGIN_MM:g} mm wide."
        if type(self.ppi) is not int or not LEAST_PPI <= self.ppi <= MOST_PPI:
            return f"The resolution must be a whole number from {LEAST_PPI} to {MOST_PPI} ppi."
        if any(type(flag) is not bool for flag in (self.marks, self.black_point)):
            return "marks and black_point must be true or false."
        if type(self.master_sha256) is not str or not _DIGEST.fullmatch(self.master_sha256):
            return "The master must be named by its SHA-256."
        if type(self.profile_sha256) is not str or not _DIGEST.fullmatch(self.profile_sha256 or "0" * 64):
            return "The profile must be named by its SHA-256."
        if self.sharpen and not (0.1 <= self.sharpen[0] <= MOST_RADIUS and 0 < self.sharpen[1] <= MOST_AMOUNT
                                 and 0 <= self.sharpen[2] <= 255):
            return (f"Sharpening needs a radius of 0.1 to {MOST_RADIUS:g} px, an amount of up to {MOST_AMOUNT:g}% and a"
                    " threshold of 0 to 255.")
        levels = self.levels
        if type(self.edge_colour) is not str or not _COLOUR.fullmatch(self.edge_colour) or max(levels, default=0) > 255:
            return "The colour of the edge must be white, black, or levels from 0 to 255 such as 128,128,128."
        return self._crop_fault()

    def _crop_fault(self) -> str:
        if self.crop is None:
            return ""
        if type(self.crop) is not tuple or len(self.crop) != 4 or any(type(v) is not int for v in self.crop):
            return "A crop must be four whole numbers: left, top, width and height in pixels."
        left, top, width, height = self.crop
        return "" if min(left, top) >= 0 and min(width, height) >= 1 else "The crop holds no pixels."

    @property
    def levels(self) -> tuple[int, ...]:
        """The levels that ``edge_colour`` names; none where it is a word."""
        text = self.edge_colour
        return tuple(map(int, text.split(","))) if type(text) is str and _COLOUR.fullmatch(text) and text[0].isdigit() \
            else ()

    def to_json(self) -> str:
        """The one text of this recipe: keys in order, no spaces, ASCII."""
        values = asdict(self)
        if self.version == PLAIN_VERSION:
            del values["sharpen"]
        return json.dumps(values, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)


def from_json(text: str) -> Recipe:
    """A recipe from its text. Raises Refused for a field that is missing, unknown or of another kind, as a later
    version of the program may have written it."""
    try:
        values: Any = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise Refused(f"This is not a recipe: {error}.") from error
    if not isinstance(values, dict):
        raise Refused("This is not a recipe: it holds no fields.")
    version = values.get("version")
    if type(version) is not int or version not in VERSIONS:
        raise Refused(f"This recipe has version {version!r}; this program knows versions up to {max(VERSIONS)}.",
                      hint="Use the version of the program that wrote it, or a newer one.")
    names = {field.name for field in fields(Recipe)} - ({"sharpen"} if version == PLAIN_VERSION else set())
    if odd := names ^ values.keys():
        raise Refused(f"This is not a recipe of version {version}: {', '.join(sorted(odd))} missing or unknown.")
    chosen: dict[str, Any] = {name: tuple(value) if isinstance(value, list) else value
                              for name, value in values.items()}
    recipe = Recipe(**chosen)
    if recipe.version != version:
        raise Refused("This recipe is of version 2 and does not sharpen.")
    return recipe


def differences(then: Recipe, now: Recipe) -> dict[str, tuple[object, object]]:
    """The fields in which two recipes differ: then and now."""
    return {field.name: (getattr(then, field.name), getattr(now, field.name)) for field in fields(Recipe)
            if field.name != "version" and getattr(then, field.name) != getattr(now, field.name)}


def describe(recipe: Recipe) -> str:
    """A recipe on one line: resolution, and what differs from a plain print that is filled."""
    edge = {"colour": f"in {recipe.edge_colour}", "stretched": f"stretched from {recipe.stretch_mm:g} mm"}.get(
        recipe.edge, recipe.edge)
    parts = [
        f"{recipe.width_mm:g} × {recipe.height_mm:g} mm at {recipe.ppi} ppi", f"{recipe.bits} bit",
        f"turned {recipe.turn}°" if recipe.turn else "",
        "crop {} × {} px from {}, {}".format(*recipe.crop[2:], *recipe.crop[:2]) if recipe.crop else "",
        "whole on white" if recipe.fit == "whole" else "",
        f"border {recipe.border_mm:g} mm" if recipe.border_mm else "",
        f"wrap {recipe.wrap_mm:g} mm, edge {edge}" if recipe.wrap_mm else "",
        f"bleed {recipe.bleed_mm:g} mm" if recipe.bleed_mm else "",
        "with marks" if recipe.marks else "", recipe.kernel,
        "sharpened: radius {:g} px, amount {:g}%, threshold {:g}".format(*recipe.sharpen) if recipe.sharpen else "",
        f"converted to profile {recipe.profile_sha256[:8]}…, {recipe.intent}{', black point' * recipe.black_point}"
        if recipe.profile_sha256 else "profile of the master"]
    return "; ".join(part for part in parts if part)
