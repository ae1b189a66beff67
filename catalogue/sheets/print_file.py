"""The newest print file of an order line, as its job sheet shows it: facts, cautions, and the recipe drawn."""

from catalogue.errors import Refused
from catalogue.print_files.recipe import Recipe, describe, from_json
from catalogue.records.orders import Line
from catalogue.records.paths import display_path
from catalogue.records.print_files import PrintFile
from catalogue.records.scans import Scan

MADE_BEFORE_A_CHANGE = ("The print file was made before size, border or wrap of this line were changed: make it"
                        " again.")

def recipe_of(made: PrintFile) -> Recipe | None:
    """The recipe on record; None if another version of the program wrote it."""
    try:
        return from_json(made.recipe)
    except Refused:
        return None


def facts(made: PrintFile) -> list[tuple[str, str]]:
    """Its name, the first digits of its digest, its size and its recipe."""
    recipe = recipe_of(made)
    return [("print file", display_path(made.name)), ("its SHA-256", f"{made.sha256[:16]}…"),
            ("its size", f"{made.width} × {made.height} px"),
            ("its recipe", describe(recipe) if recipe else "written by another version of the program")]


def cautions(line: Line, scan: Scan | None, made: PrintFile) -> list[str]:
    """Where the line or its scan contradict the print file made for it."""
    recipe = recipe_of(made)
    if recipe is None:
        return []
    texts = []
    if not _of_line(recipe, line):
        texts.append(MADE_BEFORE_A_CHANGE)
    if scan is not None and scan.sha256 != recipe.master_sha256:
        texts.append("The print file was made from another scan than this sheet names: make it again.")
    return texts


def recipe_drawn(line: Line, scan: Scan | None, made: PrintFile) -> Recipe | None:
    """The recipe to draw the print by; None if the print file no longer matches the line and its scan."""
    recipe = recipe_of(made)
    if (recipe is None or scan is None or scan.sha256 != recipe.master_sha256 or not scan.width or not scan.height
            or not _of_line(recipe, line)):
        return None
    return recipe


def _of_line(recipe: Recipe, line: Line) -> bool:
    return (sorted((recipe.width_mm, recipe.height_mm)), recipe.border_mm, recipe.wrap_mm) == (
        sorted((line.width_mm, line.height_mm)), line.border_mm, line.wrap_mm)
