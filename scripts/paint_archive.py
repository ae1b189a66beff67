"""Paint an archive of scans from code: the shipped demo, or one of any size for benchmarks.

    python scripts/paint_archive.py FOLDER                                the demo archive
    python scripts/paint_archive.py FOLDER --pieces 10000 --px 256        a large one
    python scripts/paint_archive.py FOLDER --files-only 100000            tiny valid TIFFs, for crawling

FOLDER must be new or empty. The same seed paints the same bytes with the same library versions.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--pieces", type=int, metavar="N", help="paint N pieces instead of the demo")
    parser.add_argument("--px", type=int, default=256, help="long side of each master (default 256)")
    parser.add_argument(
        "--copies", type=int, default=1, choices=(1, 2, 3), help="stores that hold each master (default 1)"
    )
    parser.add_argument(
        "--derived", type=float, default=0.1, help="share of pieces with a re-scan, a tile and a detail (default 0.1)"
    )
    parser.add_argument("--orders", type=int, default=0, metavar="N", help="order lines in orders.csv")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--files-only", type=int, metavar="N", help="N tiny TIFFs in artist and piece folders")
    asked = parser.parse_args(argv)
    folder: Path = asked.folder
    if folder.exists() and any(folder.iterdir()):
        print(f"{folder} is not empty; nothing was painted there.", file=sys.stderr)
        return 2
    folder.mkdir(parents=True, exist_ok=True)
    started = time.perf_counter()

    def say(text: str) -> None:
        print(f"\r{text[:100]:<100}", end="", flush=True)

    if asked.files_only is not None:
        from painting.bulk import write_tiny

        files = write_tiny(folder, asked.files_only, asked.seed, say)
    elif asked.pieces is not None:
        from painting.bulk import Order, paint_many

        files = paint_many(
            folder,
            Order(asked.pieces, asked.px, asked.seed, asked.copies, asked.derived, asked.orders),
            asked.workers,
            say,
        )
    else:
        from painting.demo import paint_demo

        files = paint_demo(folder, asked.seed, say)
    took = time.perf_counter() - started
    print(f"\r{files} files in {took:.1f} s ({files / took:.0f} a second) in {folder}{'':<40}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
