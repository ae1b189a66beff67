"""Paint an archive of scans from code: the demo, or one of any size for benchmarks.

    python scripts/paint_archive.py FOLDER                                the demo archive
    python scripts/paint_archive.py FOLDER --unless-painted               the same, unless this code painted it there
    python scripts/paint_archive.py demo_archive --scale 0.25             what the tests read: fewer pixels, less ppi
    python scripts/paint_archive.py FOLDER --pieces 10000 --px 256        a large one
    python scripts/paint_archive.py FOLDER --files-only 100000            tiny valid TIFFs, for crawling

FOLDER must be new or empty; --unless-painted also replaces an archive that it painted earlier. The same seed paints the
same bytes with the same library versions.
"""

from __future__ import annotations

import argparse
import hashlib
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

PAINTED = ".painted"  # in an archive: which code painted it, with which seed, at which scale


def recipe(seed: int, scale: float) -> str:
    """A digest of all that decides what the demo archive is, but for the versions of libraries."""
    digest = hashlib.sha256(f"{seed} {scale}".encode())
    for module in sorted((Path(__file__).parent / "painting").glob("*.py")):
        digest.update(module.read_bytes())
    return digest.hexdigest()


@contextmanager
def painting_bar() -> Iterator[Callable[[int, int, str], None]]:
    """A bar on standard error for pieces done, of how many, and the last one; nothing where no one watches."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = TextColumn("Painting the demo archive"), BarColumn(), MofNCompleteColumn(), TextColumn(
        "{task.description}", markup=False)
    with Progress(*columns, console=Console(stderr=True), transient=True, disable=not sys.stderr.isatty()) as shown:
        task = shown.add_task("")
        yield lambda done, total, what: shown.update(task, completed=done, total=total, description=what)


def paint_unless_painted(folder: Path, seed: int, scale: float, workers: int) -> int:
    """The demo archive in `folder`, painted only if it is not there or other code painted it; the exit code."""
    wanted, stamp = recipe(seed, scale), folder / PAINTED
    if stamp.is_file() and stamp.read_text(encoding="utf-8") == wanted:
        return 0
    if folder.exists() and any(folder.iterdir()) and not stamp.is_file():
        print(f"{folder} holds something other than a painted archive; nothing was painted there.", file=sys.stderr)
        return 2
    from painting.demo import paint_demo

    folder.parent.mkdir(parents=True, exist_ok=True)
    # whole or not at all: a painting that is interrupted leaves nothing that looks like an archive
    with tempfile.TemporaryDirectory(dir=folder.parent, prefix=f".{folder.name}-") as name, painting_bar() as report:
        made = Path(name) / folder.name
        made.mkdir()
        paint_demo(made, seed, report, scale, workers)
        (made / PAINTED).write_text(wanted, encoding="utf-8")
        if folder.exists():
            shutil.rmtree(folder)
        made.rename(folder)
    return 0


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
    parser.add_argument("--scale", type=float, default=1.0,
                        help="share of the demo's pixels a side, and of its ppi (default 1)")
    parser.add_argument("--unless-painted", action="store_true",
                        help="do nothing where this code painted the demo already; paint it anew where other code did")
    parser.add_argument("--workers", type=int, default=0, help="processes (default: one a core; 1 with --pieces)")
    parser.add_argument("--files-only", type=int, metavar="N", help="N tiny TIFFs in artist and piece folders")
    asked = parser.parse_args(argv)
    folder: Path = asked.folder
    if asked.unless_painted:
        return paint_unless_painted(folder, asked.seed, asked.scale, asked.workers)
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
            asked.workers or 1,
            say,
        )
    else:
        from painting.demo import paint_demo

        with painting_bar() as report:
            files = paint_demo(folder, asked.seed, report, asked.scale, asked.workers)
    took = time.perf_counter() - started
    print(f"\r{files} files in {took:.1f} s ({files / took:.0f} a second) in {folder}{'':<40}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
