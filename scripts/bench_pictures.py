#!/usr/bin/env python3
"""Measure how pictures of cells come out: likeness to the preview, and bytes to the terminal.

    python scripts/bench_pictures.py FOLDER [--columns 56] [--pictures 80] [--json]

FOLDER is a catalogue's, such as the demo's, or any folder of WebP previews below it. Each preview is drawn into cells
as the screens do, the cells are painted as pixels (8 × 16 a cell, what a terminal shows with every sign as it should
be), and structural similarity (scikit-image's, of luma, window 7) compares that with the preview reduced to the same
size. Means over the previews; a second table has the largest picture of a terminal of 200×60.
"""

import argparse
import json
import statistics
import sys
import time
import unicodedata
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from skimage.metrics import structural_similarity

from catalogue.screens.pictures.blocks import BLOCKS
from catalogue.screens.pictures.cells import Cells, Drawing, fit_size
from catalogue.screens.pictures.drawing import draw_picture

CELL = (8, 16)      # pixels
LARGEST = (112, 50)     # columns and rows of the largest picture at 200×60
HALVES = {"UPPER": "▀", "LOWER": "▄", "LEFT": "▌", "RIGHT": "▐"}
SHARES = {"ONE EIGHTH": 1 / 8, "ONE QUARTER": 1 / 4, "THREE EIGHTHS": 3 / 8, "HALF": 1 / 2, "FIVE EIGHTHS": 5 / 8,
          "THREE QUARTERS": 3 / 4, "SEVEN EIGHTHS": 7 / 8}


@dataclass(frozen=True, slots=True)
class Figures:
    """Means over the previews; bytes also at most; milliseconds of processor time a picture."""

    blocks: str
    similarity: float
    bytes_mean: float
    bytes_most: int
    processor: float


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--columns", type=int, default=56)
    parser.add_argument("--pictures", type=int, default=80)
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    paths = sorted(asked.folder.rglob("*.webp"))
    paths = paths[::max(1, len(paths) // asked.pictures)][:asked.pictures]
    if not paths:
        parser.error(f"no previews in {asked.folder}")
    pictures = [Image.open(path).convert("RGB") for path in paths]
    tables = {f"{asked.columns} columns": (asked.columns, 10_000), "as large as 200×60 has room for": LARGEST}
    figures = {name: [measured(pictures, blocks, *room) for blocks in BLOCKS] for name, room in tables.items()}
    if asked.json:
        print(json.dumps({name: [asdict(row) for row in rows] for name, rows in figures.items()}, indent=1))
        return
    for name, rows in figures.items():
        print(f"| {len(pictures)} previews, {name} | similarity | bytes, mean | bytes, most | processor, ms |")
        print("|---|---|---|---|---|")
        for row in rows:
            print(f"| {row.blocks} | {row.similarity:.3f} | {row.bytes_mean:,.0f} | {row.bytes_most:,} "
                  f"| {row.processor:.0f} |")
        print()


def measured(pictures: list[Image.Image], blocks: str, columns: int, rows: int) -> Figures:
    """Draw all the pictures so and compare."""
    likenesses, sent, spent = [], [], 0.0
    for picture in pictures:
        begun = time.process_time()
        drawing = draw_picture(picture, columns, rows, palette="colours", blocks=blocks)
        spent += time.process_time() - begun
        seen = painted(drawing)
        height = round(fit_size(*picture.size, columns, rows)[1] * CELL[1] / 2)
        seen = seen.crop((0, 0, seen.width, height))    # what is left of the last row is the page's
        true = picture.resize(seen.size, Image.Resampling.LANCZOS)
        likenesses.append(structural_similarity(np.asarray(true.convert("L")), np.asarray(seen.convert("L"))))
        sent.append(sum(len(row.sequence.encode()) for row in drawing.rows if isinstance(row, Cells)))
    return Figures(blocks, statistics.mean(likenesses), statistics.mean(sent), max(sent),
                   spent * 1000 / len(pictures))


def painted(drawing: Drawing) -> Image.Image:
    """The cells as a terminal shows them."""
    rows = []
    for row in drawing.rows:
        assert isinstance(row, Cells)
        filled = np.stack([sign_pixels(sign, *CELL) for sign in row.signs], 1)
        foreground, background = (np.frombuffer(colours, np.uint8).reshape(-1, 1, 3)
                                  for colours in (row.foreground, row.background))
        rows.append(np.where(filled[..., None], foreground, background).reshape(CELL[1], -1, 3))
    return Image.fromarray(np.concatenate(rows))


@cache
def sign_pixels(sign: str, across: int, down: int) -> NDArray[np.bool_]:
    """Which pixels of a cell a sign fills, down × across, as its name in Unicode says."""
    name = unicodedata.name(sign).removesuffix(" BLOCK")
    filled = np.zeros((down, across), np.bool_)
    if name == "FULL":
        filled[:] = True
    elif name.startswith("QUADRANT "):
        for corner in name.removeprefix("QUADRANT ").split(" AND "):
            first, second = corner.split()
            filled |= sign_pixels(HALVES[first], across, down) & sign_pixels(HALVES[second], across, down)
    elif name.startswith("BLOCK SEXTANT-"):
        for digit in name.removeprefix("BLOCK SEXTANT-"):
            line, column = divmod(int(digit) - 1, 2)
            filled[round(line * down / 3):round((line + 1) * down / 3), column * across // 2:(column + 1) * across // 2
                   ] = True
    elif name != "SPACE":
        side, _, share = name.partition(" ")
        filled = {"UPPER": lambda n: np.arange(down) < n * down, "LOWER": lambda n: np.arange(down) >= down - n * down,
                  "LEFT": lambda n: np.arange(across) < n * across,
                  "RIGHT": lambda n: np.arange(across) >= across - n * across}[side](SHARES[share])
        filled = np.tile(filled[:, None], (1, across)) if side in ("UPPER", "LOWER") else np.tile(filled, (down, 1))
    return filled


if __name__ == "__main__":
    main()
