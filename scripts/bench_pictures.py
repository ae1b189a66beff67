#!/usr/bin/env python3
"""Measure how pictures of cells come out: likeness to the preview, and bytes to the terminal.

    python scripts/bench_pictures.py FOLDER [--columns 56] [--pictures 40] [--json]

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
from dataclasses import asdict, dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import numpy as np
from PIL import Image
from skimage.metrics import structural_similarity

from catalogue.screens.pictures.blocks import BLOCKS, Blocks
from catalogue.screens.pictures.cells import Cells, Drawing, draw_picture, fit_size

CELL = (8, 16)      # pixels
LARGEST = (112, 50)     # columns and rows of the largest picture at 200×60


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
    parser.add_argument("--pictures", type=int, default=40)
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
        seen = painted(drawing, BLOCKS[blocks])
        height = round(fit_size(*picture.size, columns, rows)[1] * CELL[1] / 2)
        seen = seen.crop((0, 0, seen.width, height))    # what is left of the last row is the page's
        true = picture.resize(seen.size, Image.Resampling.LANCZOS)
        likenesses.append(structural_similarity(np.asarray(true.convert("L")), np.asarray(seen.convert("L"))))
        sent.append(sum(len(row.sequence.encode()) for row in drawing.rows if isinstance(row, Cells)))
    return Figures(blocks, statistics.mean(likenesses), statistics.mean(sent), max(sent),
                   spent * 1000 / len(pictures))


def painted(drawing: Drawing, kind: Blocks) -> Image.Image:
    """The cells as a terminal shows them."""
    across, down = CELL
    image = np.zeros((len(drawing.rows) * down, drawing.width * across, 3), np.uint8)
    edges = [round(part * down / kind.down) for part in range(kind.down + 1)]
    sides = [round(part * across / kind.across) for part in range(kind.across + 1)]
    for y, row in enumerate(drawing.rows):
        assert isinstance(row, Cells)
        for x, sign in enumerate(row.signs):
            pattern = kind.signs.index(sign)
            for part in range(kind.parts):
                line, column = divmod(part, kind.across)
                source = row.ink if pattern >> part & 1 else row.ground
                image[y * down + edges[line]:y * down + edges[line + 1],
                      x * across + sides[column]:x * across + sides[column + 1]] = list(source[x * 3:x * 3 + 3])
    return Image.fromarray(image)


if __name__ == "__main__":
    main()
