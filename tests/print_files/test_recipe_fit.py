"""Recipes found from pictures: print files made by known recipes, which are the truth."""

import hashlib
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray

from catalogue.errors import Refused
from catalogue.print_files.layout import layout_of
from catalogue.print_files.placement import find_placement, quarter_turns
from catalogue.print_files.recipe import Recipe, differences
from catalogue.print_files.recipe_fit import PrintShape, fit_recipe, plain_length
from catalogue.print_files.render import render
from tests.files import SRGB

WIDTH, HEIGHT = 870, 670
PPI = 100


@pytest.fixture(scope="module")
def master(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A picture with detail of every size, as a painting has."""
    rng = np.random.default_rng(7)
    picture = np.zeros((HEIGHT, WIDTH, 3))
    for cells in (6, 20, 70, 250):
        picture += cv2.resize(rng.random((cells * HEIGHT // WIDTH, cells, 3)), (WIDTH, HEIGHT),
                              interpolation=cv2.INTER_CUBIC) / cells**0.4
    picture = (picture - picture.min()) / (picture.max() - picture.min())
    path = tmp_path_factory.mktemp("masters") / "master.tif"
    tifffile.imwrite(path, (picture * 65535).astype(np.uint16), photometric="rgb", metadata=None, iccprofile=SRGB)
    return path


def reduced(picture: NDArray[Any], side: int) -> NDArray[np.float32]:
    """Levels of 0–255 of a 16-bit picture, the means of areas."""
    factor = min(1.0, side / max(picture.shape[:2]))
    size = (round(picture.shape[1] * factor), round(picture.shape[0] * factor))
    return np.asarray(cv2.resize(picture.astype(np.float32) / 257, size, interpolation=cv2.INTER_AREA))


def rough_map(recipe: Recipe) -> NDArray[np.float64]:
    """The true map from the master to the print file, off by some pixels and some thousandths, as features may be."""
    layout = layout_of(recipe, WIDTH, HEIGHT)
    box, source = layout.picture, layout.source
    left, top, right, bottom = source.left, source.top, source.left + source.width, source.top + source.height
    corners = [(left, top), (right, top), (right, bottom), (left, bottom)]
    first = {0: 0, 90: 3, 180: 2, 270: 1}[recipe.turn]      # what lies at the print's upper left
    three = [corners[first], corners[(first + 1) % 4], corners[(first + 3) % 4]]
    there = [(box.left, box.top), (box.right, box.top), (box.left, box.bottom)]
    matrix = np.asarray(cv2.getAffineTransform(np.float32(three), np.float32(there)), np.float64)  # type: ignore[arg-type]
    matrix[:, :2] *= 1.002
    return np.asarray(matrix + np.array([[0, 0, 2.0], [0, 0, -1.5]]), np.float64)


def found_again(master: Path, recipe: Recipe, folder: Path, side: int = 400,
                ordered: tuple[PrintShape, ...] = ()) -> Recipe:
    made = render(master, recipe, folder / "print.tif")
    ours, theirs = tifffile.imread(master), tifffile.imread(made.path)
    size = (theirs.shape[1], theirs.shape[0])
    light = reduced(theirs, side).mean(axis=2)
    placement = find_placement(reduced(ours, side).mean(axis=2), (WIDTH, HEIGHT), light, size, rough_map(recipe))
    assert placement is not None and placement.correlation > 0.99
    levels = np.rint(reduced(theirs, side)).astype(np.uint8)
    return fit_recipe(placement, light, levels, size, PPI, Recipe(recipe.master_sha256, 1, 1, PPI), ordered)


CASES: dict[str, dict[str, Any]] = {
    "plain": {}, "turned": {"turn": 90}, "border": {"border_mm": 8},
    "mirrored wrap": {"wrap_mm": 20, "edge": "mirrored"},
    "mirrored wrap of a crop, turned": {"turn": 270, "crop": (134, 67, 468, 375), "wrap_mm": 20, "edge": "mirrored"},
    "crop": {"crop": (67, 33, 535, 428)}, "border, crop, upside down": {"border_mm": 10, "turn": 180,
                                                                         "crop": (0, 0, 600, 468)},
    "whole on white, turned": {"fit": "whole", "turn": 90}, "whole within a border": {"fit": "whole", "border_mm": 9},
    "stretched wrap": {"wrap_mm": 20, "edge": "stretched", "stretch_mm": 4},
    "black wrap": {"wrap_mm": 18, "edge": "colour", "edge_colour": "black"},
    "wrap of a colour": {"wrap_mm": 18, "edge": "colour", "edge_colour": "40,90,160"},
    "marks and a mirrored bleed": {"marks": True, "bleed_mm": 3, "edge": "mirrored"},
    "fold marks on a picture that runs on": {"marks": True, "wrap_mm": 15, "bleed_mm": 3, "turn": 180},
    "marks and a border": {"marks": True, "border_mm": 9},
    "fold marks, mirrored, turned": {"marks": True, "wrap_mm": 15, "edge": "mirrored", "turn": 90},
}


@pytest.mark.parametrize(("case", "side"), [    # reduced, as large files are; some also read pixel for pixel
    *((case, 400) for case in CASES), ("plain", 2048), ("mirrored wrap of a crop, turned", 2048),
    ("marks and a border", 2048)])
def test_the_recipe_of_a_print_file_is_found_from_its_picture(master: Path, tmp_path: Path, case: str,
                                                              side: int) -> None:
    """All fields; of a crop the part that is printed, to one and a half pixels of the master."""
    truth = Recipe(hashlib.sha256(master.read_bytes()).hexdigest(), 130, 100, PPI, **CASES[case])
    found = found_again(master, truth, tmp_path, side)
    assert set(differences(truth, found)) <= {"crop"}, differences(truth, found)
    ours, theirs = layout_of(found, WIDTH, HEIGHT), layout_of(truth, WIDTH, HEIGHT)
    assert replace(ours, source=theirs.source, ppi_there=0) == replace(theirs, ppi_there=0)
    assert [getattr(ours.source, name) for name in ("left", "top", "width", "height")] == pytest.approx(
        [getattr(theirs.source, name) for name in ("left", "top", "width", "height")], abs=1.5)
    assert (found.crop is None) == (truth.crop is None)


def test_an_order_says_what_leaves_no_trace(master: Path, tmp_path: Path) -> None:
    """A wrap over which the picture runs on, and a white edge that is not a border."""
    digest = hashlib.sha256(master.read_bytes()).hexdigest()
    running_on = Recipe(digest, 100, 70, PPI, wrap_mm=15)
    assert found_again(master, running_on, tmp_path).wrap_mm == 0
    (tmp_path / "print.tif").unlink()
    assert found_again(master, running_on, tmp_path, ordered=(PrintShape(50, 70, 0, 10),
                                                              PrintShape(70, 100, 0, 15))) == running_on
    (tmp_path / "print.tif").unlink()
    white = Recipe(digest, 130, 100, PPI, wrap_mm=20, edge="colour", edge_colour="white")
    assert found_again(master, white, tmp_path, ordered=(PrintShape(100, 130, 0, 20),)) == white


def test_what_no_recipe_makes_is_refused(master: Path, tmp_path: Path) -> None:
    truth = Recipe(hashlib.sha256(master.read_bytes()).hexdigest(), 130, 100, PPI, border_mm=12)
    made = tifffile.imread(render(master, truth, tmp_path / "print.tif").path)
    made[:47] = np.random.default_rng(1).integers(0, 65535, (47, made.shape[1], 3))     # somebody's pattern
    made[:, :47] = np.random.default_rng(2).integers(0, 65535, (len(made), 47, 3))
    light = reduced(made, 2048).mean(axis=2)
    size = (made.shape[1], made.shape[0])
    placement = find_placement(reduced(tifffile.imread(master), 2048).mean(axis=2), (WIDTH, HEIGHT), light, size,
                               rough_map(truth))
    assert placement is not None
    with pytest.raises(Refused, match="What surrounds the picture"):
        fit_recipe(placement, light, np.rint(reduced(made, 2048)).astype(np.uint8), size, PPI,
                   replace(truth, border_mm=0))


def test_another_picture_agrees_with_nothing(master: Path, tmp_path: Path) -> None:
    truth = Recipe(hashlib.sha256(master.read_bytes()).hexdigest(), 130, 100, PPI)
    made = reduced(tifffile.imread(render(master, truth, tmp_path / "print.tif").path), 2048).mean(axis=2)
    other = cv2.resize(np.random.default_rng(3).random((30, 40)).astype(np.float32) * 255, (WIDTH, HEIGHT),
                       interpolation=cv2.INTER_CUBIC)
    placement = find_placement(other, (WIDTH, HEIGHT), made, (made.shape[1], made.shape[0]), rough_map(truth))
    assert placement is None or placement.correlation < 0.9


@pytest.mark.parametrize(("angle", "turn"), [(0, 0), (0.6, 0), (90.4, 90), (-90, 270), (180, 180), (3, None),
                                             (45, None)])
def test_only_quarter_turns_are_recipes(angle: float, turn: int | None) -> None:
    c, s = np.cos(np.radians(angle)) * 0.7, np.sin(np.radians(angle)) * 0.7
    assert quarter_turns(np.array([[c, -s, 5.0], [s, c, 9.0]])) == turn


@pytest.mark.parametrize(("pixels", "ppi", "tolerance", "mm"), [
    (118, 150, 1.0, 20.0), (47, 150, 1.0, 8.0), (0.8, 150, 1.0, 0.0), (38, 300, 0.5, 3.2)])
def test_a_length_is_the_plainest_that_fits(pixels: float, ppi: int, tolerance: float, mm: float) -> None:
    """By hand: 118 px at 150 ppi are 19.98 mm; 38 px at 300 ppi 3.217 mm."""
    assert plain_length(pixels, ppi, tolerance) == pytest.approx(mm, abs=1e-9)
