"""The recipe of an order line's print file: from the line, from last time's choices, and from new ones."""

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from math import floor
from typing import Any

from catalogue.errors import Refused
from catalogue.ledger.fit import picture_wraps
from catalogue.print_files.layout import ENLARGED, layout_of
from catalogue.print_files.recipe import LEAST_PPI, Recipe, from_json
from catalogue.records import print_files, scans
from catalogue.records.orders import Line, NewLine
from catalogue.records.pieces import folded
from catalogue.records.print_files import PrintFile
from catalogue.records.rows import Database
from catalogue.records.scans import Scan

# What last time's recipe gives to the next print of its kind, unless the line or the person says otherwise.
CARRIED = ("ppi", "turn", "crop", "fit", "edge", "stretch_mm", "edge_colour", "bleed_mm", "marks", "kernel",
           "sharpen", "profile_sha256", "intent", "black_point", "bits", "compression")
SAME_MM = 0.5       # sides of a print that differ by less are the same size
# Words for edges, by their beginnings: common practice, no source. "grey" and "colour" want levels besides.
_WHITE, _BLACK = ("white", "blank", "plain"), ("black",)


@dataclass(frozen=True, slots=True)
class EarlierRecipe:
    """The recipe that a line takes its choices from, as JSON, and when it was made or confirmed. ``file``: the print
    file that was made by it; None for a confirmed recipe of a file from before."""

    recipe: str
    date: str
    file: PrintFile | None = None


def earlier_recipe(db: Database, line: Line | NewLine, line_id: int | None, master_sha256: str) -> EarlierRecipe | None:
    """That of the newest print file of the line ``line_id`` or of one it repeats, else the newest confirmed one of the
    same piece, size, border and wrap. A crop on another master than ``master_sha256`` is no use to the latter. A print
    file of another piece, made before the line's was corrected, is none to either."""
    last = print_files.last_time(db, line_id) if line_id is not None else None
    if last is not None and _shows(db, last) in (line.piece_id, None):
        return EarlierRecipe(last.recipe, last.made, last)
    for confirmed in print_files.confirmed_of_piece(db, line.piece_id):
        with suppress(Refused):     # written by a later version of the program
            recipe = from_json(confirmed.recipe)
            if _same_shape(recipe, line) and (not recipe.crop or recipe.master_sha256 == master_sha256):
                return EarlierRecipe(confirmed.recipe, confirmed.confirmed)
    return None


def _shows(db: Database, file: PrintFile) -> int | None:
    """The piece a print file was made of; None if its master is no longer on record."""
    master = scans.by_digest(db, from_json(file.recipe).master_sha256)
    return master.piece_id if master else None


def _same_shape(recipe: Recipe, line: Line | NewLine) -> bool:
    sides = zip(sorted((recipe.width_mm, recipe.height_mm)), sorted((line.width_mm, line.height_mm)), strict=True)
    return (all(abs(side - other) < SAME_MM for side, other in sides)
            and abs(recipe.border_mm - line.border_mm) < SAME_MM and abs(recipe.wrap_mm - line.wrap_mm) < SAME_MM)


@dataclass(frozen=True, slots=True)
class PlannedPrint:
    """What would be printed for a line not recorded yet: the recipe, or why there can be none."""

    recipe: Recipe | None
    problem: str = ""


def planned_print(line: NewLine, scan: Scan, last: EarlierRecipe | None, print_ppi: tuple[int, ...]) -> PlannedPrint:
    """The recipe that the line's print file would be made by if nothing else were chosen; ``last``: whose choices it
    takes over."""
    try:
        return PlannedPrint(recipe_for(line, scan, {}, from_json(last.recipe) if last else None, print_ppi))
    except Refused as error:
        return PlannedPrint(None, f"{error.message} {error.hint}".rstrip())


def recipe_for(line: Line | NewLine, scan: Scan, chosen: Mapping[str, Any], last: Recipe | None = None,
               print_ppi: tuple[int, ...] = (300, 240, 200, 150)) -> Recipe:
    """The recipe of a line, printed from ``scan``.

    ``chosen`` holds fields of :class:`Recipe` as a person said them. Sides are swapped where the print stands across
    the picture, as everywhere in the ledger. A resolution that nobody chose is the highest of ``print_ppi`` that the
    master has, or what it has in whole ppi: never one that enlarges. Raises Refused.
    """
    if not scan.width or not scan.height:
        raise Refused("The size of this scan in pixels is not known.", hint="Index its store again.")
    fields: dict[str, Any] = {name: value for name, value in asdict(last).items() if name in CARRIED} if last else {}
    if last and last.master_sha256 != scan.sha256 and fields.pop("crop") is not None and "crop" not in chosen:
        raise Refused("Last time's crop was drawn on another master.",
                      hint="Give the crop on this one, or print all of it.")
    if line.wrap_mm or not last:
        fields |= _edge(line, last, chosen)
    fields |= chosen
    fields.setdefault("bits", 8 if scan.bits is not None and scan.bits <= 8 else 16)
    chosen_ppi = fields.pop("ppi", None)
    recipe = Recipe(scan.sha256, line.width_mm, line.height_mm, max(print_ppi) if chosen_ppi is None else chosen_ppi,
                    border_mm=line.border_mm, wrap_mm=line.wrap_mm, **fields)
    width, height = recipe.crop[2:] if recipe.crop else (scan.width, scan.height)
    if recipe.turn in (90, 270):
        width, height = height, width
    across = (width > height) != (recipe.width_mm > recipe.height_mm)
    if across and width != height and recipe.width_mm != recipe.height_mm:
        recipe = replace(recipe, width_mm=recipe.height_mm, height_mm=recipe.width_mm)
    if chosen_ppi is not None:
        return recipe
    there = layout_of(recipe, scan.width, scan.height).ppi_there
    usual = [ppi for ppi in print_ppi if ppi <= there * ENLARGED]
    return replace(recipe, ppi=max(usual) if usual else max(LEAST_PPI, floor(there)))


def _edge(line: Line | NewLine, last: Recipe | None, chosen: Mapping[str, Any]) -> dict[str, Any]:
    """The recipe's edge by the line's own word for it; empty if the line has none or the person chose one."""
    words = folded(line.edge).split() if line.edge else []
    if not words or "edge" in chosen:
        return {}
    for beginnings, colour in ((_WHITE, "white"), (_BLACK, "black")):
        if any(word.startswith(beginnings) for word in words):
            return {"edge": "colour", "edge_colour": colour}
    if any(word.startswith("mirror") for word in words):
        return {"edge": "mirrored"}
    if any(word.startswith("stretch") for word in words):
        return {"edge": "stretched"}
    if picture_wraps(line.edge):
        return {"edge": "continued"}
    if "edge_colour" in chosen or (last and last.edge == "colour"):
        return {"edge": "colour"}
    raise Refused(f"The edge of this line is {line.edge!r}, which does not say what colour to print.",
                  hint="Give it, such as --edge-colour 128,128,128.")
