"""Make the catalogues of tests/records/older: each by the program as it was when its schema was the newest.

    python scripts/older_catalogues.py            # writes those that are missing; needs the whole git history

Schemas 1 to 5 are left out: their first migrations were still changed in place, on the day the project began.
"""

import io
import json
import lzma
import os
import sqlite3
import subprocess
import sys
import tarfile
import tempfile
from contextlib import closing
from pathlib import Path

import numpy as np
import tifffile

ROOT = Path(__file__).resolve().parent.parent
OLDER = ROOT / "tests" / "records" / "older"
sys.path.insert(0, str(ROOT))

from tests.records.older_facts import facts  # noqa: E402

# The last commit of each schema that was ever the newest on the main branch. 15, 16, 20 and 23 never were; while 17
# was, 16 was not yet there, so such a catalogue is none that an upgrade could know.
COMMITS = {6: "cd2b8de", 7: "ae93fd1", 8: "b13f207", 10: "93c62d7", 11: "c8fec8f", 12: "4d30ca1", 13: "57abbd3",
           14: "8e2b4d2", 18: "7b45a98", 19: "deaa951", 21: "fc9117b", 22: "d17d5f0", 24: "fdcefee",
           27: "e2efe75"}


def paint(folder: Path, schema: int) -> None:
    """Two artists; one work twice, the second time resaved with other metadata. A folder of one work is taken for no
    artist since schema 27.
    """
    ramp = np.linspace(0, 1, 400)
    works = {"Ada Quill/Harbour/master.tif": (1, 3.0), "Ada Quill/Pier/master.tif": (2, 5.0),
             "Bo Rand/Mill/master.tif": (3, 9.0)}
    if schema >= 27:
        works["Bo Rand/Orchard/master.tif"] = (4, 7.0)
    for name, (seed, waves) in works.items():
        noise = np.random.default_rng(seed).normal(0, 12, (300, 400, 3))
        ground = 120 + 90 * np.sin(waves * np.outer(ramp[:300] * 4, ramp))[..., None]
        pixels = np.clip(ground + noise, 0, 255).astype(np.uint8)
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        tifffile.imwrite(path, pixels, photometric="rgb", resolution=(100, 100), resolutionunit=2, metadata=None)
        if seed == 1:
            tifffile.imwrite(path.with_name("master resaved.tif"), pixels, photometric="rgb", resolution=(100, 100),
                             resolutionunit=2, metadata=None, description="resaved")


def run(program: Path, home: Path, *words: str, allowed: tuple[int, ...] = (0,)) -> str:
    done = subprocess.run([sys.executable, "-m", "catalogue", "--catalogue", str(home), *words], cwd=program, text=True,
                          env=os.environ | {"PYTHONPATH": str(program), "NO_COLOR": "1"}, check=False,
                          capture_output=True, stdin=subprocess.DEVNULL)
    if done.returncode not in allowed:
        raise SystemExit(f"{words}: exit {done.returncode}\n{done.stdout}\n{done.stderr}")
    return done.stdout


def make(schema: int, commit: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        program, home, main, copy = (Path(folder) / name for name in ("program", "home", "main", "copy"))
        packed = subprocess.run(["git", "archive", commit, "catalogue"], cwd=ROOT, capture_output=True, check=True)
        with tarfile.open(fileobj=io.BytesIO(packed.stdout)) as archive:
            archive.extractall(program, filter="data")
        paint(main, schema)
        copy.mkdir()
        for words in (
                ("store", "add", "main", str(main), "--marker"),
                ("store", "add", "copy", str(copy), "--kind", "copy", "--marker"),
                ("store", "add", "old disk", str(program), "--kind", "off-site", "--no-marker"),
                ("store", "forget" if schema < 17 else "retire", "old disk", "--yes"),
                ("index", "main"), ("copy", "--to", "copy", "--yes"),
                ("artist", "set", "Ada Quill", "--contact", "12 Quay Lane", "--terms", "half and half"),
                ("piece", "set", "Harbour", "--year", "1998", "--series", "Tides", "--size", "600.5x400.2mm",
                 "--notes", "on linen"),
                ("edition", "set", "Harbour", "--limit", "25", "--proofs", "2", "--medium", "Cotton rag"),
                *(("order", "add", piece, "--size", size, "--quantity", quantity, "--medium", "Cotton rag", "--number",
                   number, "--date", "2024-03-05", "--buyer", buyer, "--price", "120.50", "--yes", *more)
                  for piece, size, quantity, number, buyer, more in (
                      ("Harbour", "60x40", "3", "2024-0001", "Hotel Umberlow", ()),
                      ("Mill", "203.2x254mm", "1", "2024-0002", "Ms Colquhane", ("--notes", "rush")),
                      ("Harbour", "60x40", "2", "2024-0003", "Dr Oakhanger", ()),
                      ("Harbour", "30x20", "1", "2024-0004", "Dr Oakhanger", ("--proofs",)))),
                ("order", "status", "2024-0001", "printed"),
                ("edition", "destroy", "1", "2", "--reason", "torn at the framer's", "--date", "2024-04-01"),
                ("order", "add", "Harbour", "--size", "60x40", "--medium", "Cotton rag", "--number", "2024-0005",
                 "--date", "2024-04-02", "--replacing", "2", "--yes"),
                ("edition", "destroy", "1", "3", "--reason", "lost in the post", "--date", "2024-04-03"),
                ("order", "status", "2024-0002", "cancelled"), ("order", "status", "2024-0004", "printed"),
                ("levels", "--answer", "places", "yes, two houses")):
            run(program, home, *words, allowed=(0, 1))
        run(program, home, "alike", "--json", allowed=(0, 1))
        with closing(sqlite3.connect(home / "catalogue.sqlite")) as made:
            pair = made.execute("SELECT id FROM likeness ORDER BY id").fetchone()
            if pair is None:
                raise SystemExit("no likeness was found")
        run(program, home, "alike", "confirm", str(pair[0]), allowed=(0, 1))
        if schema >= 19:
            prints = Path(folder) / "prints"
            prints.mkdir()
            run(program, home, "print", "2024-0003", "--to", str(prints), "--ppi", "20")
        if schema >= 28:
            run(program, home, "order", "handover", "2024-0003", "--quantity", "1", "--date", "2024-04-05")
        if schema >= 24:  # the recipe of a print file that nothing on record says the making of
            old = main / "Ada Quill" / "Harbour" / "print 2019.tif"
            with tifffile.TiffFile(old.with_name("master.tif")) as master:
                tifffile.imwrite(old, master.asarray()[10:290, 20:380], photometric="rgb", resolution=(100, 100),
                                 resolutionunit=2, metadata=None, description="print")
            run(program, home, "index", "main", allowed=(0, 1))
            run(program, home, "scan", "set", "print 2019.tif", "--role", "print file")
            run(program, home, "alike", "--json", allowed=(0, 1))
            run(program, home, "recipe", "print 2019.tif", "--record", "--yes", allowed=(0, 1))
        with closing(sqlite3.connect(home / "catalogue.sqlite")) as made:
            made.execute("PRAGMA wal_checkpoint(TRUNCATE)").close()
            made.execute("PRAGMA journal_mode = DELETE").close()
            assert made.execute("PRAGMA user_version").fetchone()[0] == schema
            told = facts(made)
        if any(not rows for rows in told.values()):
            raise SystemExit(f"schema {schema} has nothing of: {[name for name, rows in told.items() if not rows]}")
        data = (home / "catalogue.sqlite").read_bytes()
        (OLDER / f"schema-{schema:02}.sqlite.xz").write_bytes(lzma.compress(data, preset=9))
        (OLDER / f"schema-{schema:02}.json").write_text(json.dumps(told, indent=0, ensure_ascii=False) + "\n")


def main() -> None:
    OLDER.mkdir(exist_ok=True)
    for schema, commit in COMMITS.items():
        if not (OLDER / f"schema-{schema:02}.json").exists():
            print(f"schema {schema}, made by {commit}")
            make(schema, commit)


if __name__ == "__main__":
    main()
