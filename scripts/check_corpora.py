"""Read a folder of pictures with this reader, tifffile, Pillow and libvips, and say where they agree.

    python scripts/check_corpora.py FOLDER [--all]

Each file must be read or have a finding, whatever it holds; decoded samples are compared with every other reader that
gives samples of the same shape and depth. Prints one line for each file that differs from a reader, has a finding, or
took long (all with --all), then a table of agreement. Exit 1 if a file is passed over in silence, or two readers give
samples where ours differ from both and agree with none.
Needs pyvips for the libvips column (left out otherwise). Where exiftool is installed, what the files state is compared
with it too: size, resolution, orientation, profile, title, creator, capture date.
"""

import argparse
import io
import json
import shutil
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np
import tifffile
from PIL import Image

from catalogue.reading.file import read_file
from catalogue.reading.kinds import looks_like_picture
from catalogue.reading.model import Fault, Picture, Reading

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tests.files import samples_of

try:
    import pyvips
except ImportError:
    pyvips = None
MILD = {Fault.NO_PROFILE}


def by_tifffile(path: Path) -> np.ndarray:
    """The first page, samples last."""
    with tifffile.TiffFile(path) as tif:
        page = tif.pages[0]
        array = page.asarray(squeeze=False)  # separate sample, depth, length, width, sample
    array = np.concatenate(list(array[:, 0]), axis=-1) if array.shape[0] > 1 else array[0, 0]
    return array.astype(np.uint8) if array.dtype == bool else array


def by_pillow(path: Path) -> np.ndarray:
    """Pillow's own samples of the first page."""
    with Image.open(path) as image:
        array = np.asarray(image)
    array = array.astype(np.uint8) if array.dtype == bool else array
    return array[..., None] if array.ndim == 2 else array


def by_vips(path: Path) -> np.ndarray:
    """libvips' samples of the first page, orientation left alone."""
    image = pyvips.Image.new_from_file(str(path), access="sequential")
    array = image.numpy()
    return array[..., None] if array.ndim == 2 else array


def attempt(reader: object, path: Path) -> np.ndarray | None:
    """A reader's samples, or None where it refuses the file."""
    try:
        return reader(path)  # type: ignore[operator]
    except Exception:
        return None


def full_range(array: np.ndarray, bits: int, inverted: bool) -> np.ndarray:
    """Grey samples of under 8 bits as the readers that widen them give them out: 0..255, white as the most."""
    most = 255 if array.max(initial=0) > (1 << min(bits, 8)) - 1 else (1 << min(bits, 8)) - 1
    wide = (array.astype(np.uint16) * 255 // most).astype(np.uint8)
    return 255 - wide if inverted else wide


def compare(ours: np.ndarray | None, other: np.ndarray | None, picture: Picture | None) -> str:
    """In one word. Conventions are allowed for: widening of 1, 2 and 4 bits, white stored as zero, and readers that
    divide associated alpha out or turn the picture upright ("other form")."""
    if other is None:
        return "refused"
    if ours is None:
        return "only they"
    if ours.shape != other.shape or ours.dtype.itemsize != other.dtype.itemsize:
        return "other form"
    a, b = ours, other
    if np.array_equal(a, b, equal_nan=a.dtype.kind == "f"):
        return "equal"
    if a.dtype == np.uint8 and a.shape[2] == 1:
        bits = min(picture.bits, 1 if len(np.unique(b)) <= 2 else 8) if picture else 8
        wide = full_range(b, bits, False)
        if any(np.array_equal(full_range(a, bits, inverted), wide) for inverted in (False, True)):
            return "equal"
    if picture and (picture.alpha == "associated" or picture.orientation > 1):
        return "other form"
    return f"differ by {np.abs(a.astype(np.float64) - b.astype(np.float64)).max():g}"


FACTS = ("size", "resolution", "orientation", "profile", "title", "creator", "captured")


def by_exiftool(folder: Path) -> dict[Path, dict[str, object]]:
    """What exiftool says of every file, by path; nothing where it is not installed."""
    if not shutil.which("exiftool"):
        return {}
    asked = ("ImageWidth", "ImageHeight", "XResolution", "ResolutionUnit", "Orientation", "ProfileDescription", "Title",
             "ObjectName", "DocumentName", "Creator", "Artist", "By-line", "Author", "DateTimeOriginal", "DateCreated",
             "CreateDate")
    done = subprocess.run(["exiftool", "-json", "-n", "-r", "-q", "-charset", "iptc=cp1252",
                           *(f"-{name}" for name in asked), str(folder)], capture_output=True, check=False)
    return {Path(one["SourceFile"]): one for one in json.loads(done.stdout or b"[]")}


def stated(reading: Reading, theirs: dict[str, object]) -> dict[str, tuple[set[str], set[str]]]:
    """Each fact as we have it and as exiftool does; where places of one file disagree, all that it has."""
    def words(*names: str) -> set[str]:
        return {" ".join(str(theirs[n]).split()) for n in names if theirs.get(n) not in (None, "")}

    facts, picture = reading.metadata, reading.picture
    ours: dict[str, set[str]] = {name: {" ".join(getattr(facts, name).split())} - {""} for name in ("title", "creator")}
    ours["captured"] = {facts.captured[:10]} - {""}
    dates = {date[:10].replace(":", "-") for date in words("DateTimeOriginal", "DateCreated", "CreateDate")}
    other = {"title": words("Title", "ObjectName", "DocumentName"),
             "creator": words("Creator", "Artist", "By-line", "Author"), "captured": dates - {"0000-00-00"}}
    if picture:
        upright = picture.orientation < 5
        sides = (picture.width, picture.height) if upright else (picture.height, picture.width)
        across = picture.ppi_x if upright else picture.ppi_y
        ours |= {"size": {f"{sides[0]} × {sides[1]}"}, "orientation": {str(picture.orientation)},
                 "resolution": {f"{across:.0f}"} if across else set(),
                 "profile": {picture.profile_name.strip()} - {""}}
        scale = {2: 1.0, 3: 2.54}.get(int(str(theirs.get("ResolutionUnit") or 0)), 0.0)
        number = theirs.get("XResolution")
        ppi = float(number) * scale if isinstance(number, int | float) else 0.0
        other |= {"size": {f"{theirs.get('ImageWidth')} × {theirs.get('ImageHeight')}"},
                  "orientation": words("Orientation") or {"1"}, "resolution": {f"{ppi:.0f}"} if ppi > 1 else set(),
                  "profile": words("ProfileDescription")}
    return {name: (ours.get(name, set()), other.get(name, set())) for name in FACTS}


def agreement(ours: set[str], theirs: set[str]) -> str:
    """In one word."""
    if not ours and not theirs:
        return "neither"
    if not theirs:
        return "only ours"
    if not ours:
        return "only they"
    same = ours & theirs or any(a.startswith(b) or b.startswith(a) for a in ours for b in theirs)
    return "equal" if same else "differ"


def main() -> int:
    """Read everything under the folder."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--all", action="store_true", help="a line for every file")
    options = parser.parse_args()
    readers = {"tifffile": by_tifffile, "Pillow": by_pillow} | ({"libvips": by_vips} if pyvips else {})
    table: dict[str, Counter[str]] = {name: Counter() for name in readers}
    outcome: Counter[str] = Counter()
    against_all = 0
    told = by_exiftool(options.folder)
    facts: dict[str, Counter[str]] = {name: Counter() for name in FACTS}
    for path in sorted(p for p in options.folder.rglob("*") if p.is_file() and looks_like_picture(p.name)):
        began = time.monotonic()
        reading = read_file(path)
        took = time.monotonic() - began
        findings = [f for f in reading.faults if f.kind not in MILD]
        silent = not findings and reading.preview is None
        outcome["read" if not findings else "read in part" if reading.preview else "finding only"] += 1
        outcome["SILENT"] += silent
        ours = attempt(samples_of, path)
        results = {}
        for name, reader in readers.items():
            applies = reading.format in ("TIFF", "BigTIFF") or name != "tifffile"
            results[name] = compare(ours, attempt(reader, path), reading.picture) if applies else "no TIFF"
            table[name][results[name].split(" by ")[0]] += 1
        for name, (mine, other) in stated(reading, told[path]).items() if path in told and reading.picture else ():
            facts[name][result := agreement(mine, other)] += 1
            if result in ("differ", "only they"):
                print(f"{path.name[-60:]:60} {name}: {', '.join(mine) or '-'} | exiftool: {', '.join(other)}")
        odd = [f"{name}: {result}" for name, result in results.items() if result.startswith(("differ", "only"))]
        agreed = [r for r in results.values() if r == "equal"]
        against_all += len(odd) >= 2 and not agreed
        if options.all or odd or findings or took > 2 or silent:
            said = "; ".join(f"{f.kind.value}: {f.detail}" for f in findings)
            print(f"{path.name[-60:]:60} {reading.format:8} {took:5.2f}s {'; '.join(odd)} {said}".rstrip())
    print(f"\n{dict(outcome)}")
    kinds = ("equal", "differ", "other form", "refused", "only they", "no TIFF")
    print(f"{'':10}" + "".join(f"{kind:>12}" for kind in kinds))
    for name, counts in table.items():
        print(f"{name:10}" + "".join(f"{counts[kind]:12}" for kind in kinds))
    if told:
        results = ("equal", "neither", "only ours", "only they", "differ")
        print(f"\n{'exiftool':12}" + "".join(f"{result:>12}" for result in results))
        for name, counts in facts.items():
            print(f"{name:12}" + "".join(f"{counts[result]:12}" for result in results))
    return 1 if outcome["SILENT"] or against_all else 0


if __name__ == "__main__":
    sys.stdout = io.TextIOWrapper(sys.stdout.buffer, errors="backslashreplace", line_buffering=True)
    sys.exit(main())
