"""Open pictures for ``bench_likeness.py``, taken from packages that a Debian system can install; none is committed.

Unpack the packages first, in a folder of your own:

    for p in gcompris-qt-data plasma-workspace-wallpapers mate-backgrounds lomiri-wallpapers ukui-wallpapers \\
             gnome-backgrounds endless-sky-high-dpi wesnoth-1.16-data; do
        apt-get download $p; dpkg -x $p_*.deb packages/$p; done

Licences, as each package's copyright file states them per picture: gcompris-qt-data (paintings in the public domain;
photographs CC BY, CC BY-SA, CC0, public domain; the program GPL-3+), plasma-workspace-wallpapers (CC BY-SA 4.0,
LGPL-3), mate-backgrounds (CC BY-SA 4.0, GPL-2+), lomiri-wallpapers (CC BY-SA 4.0), ukui-wallpapers (CC BY-SA 4.0,
GPL-3+), gnome-backgrounds (CC BY-SA 3.0), and the pictures inside scikit-image (CC0 or public domain). Fresh, for one
look at the end: endless-sky-high-dpi (landscape photographs; public domain, CC BY, CC BY-SA) and wesnoth-1.16-data
(painted landscapes, GPL-2+ and CC BY-SA 4.0).
"""

import re
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

import cv2
import imagehash
import numpy as np
import numpy.typing as npt
from PIL import Image as Pillow

Image = npt.NDArray[np.uint8]
SIDE = 2400
PACKAGES = (
    "plasma-workspace-wallpapers",
    "mate-backgrounds",
    "lomiri-wallpapers",
    "ukui-wallpapers",
    "gnome-backgrounds",
)
FRESH = {"endless-sky-high-dpi": ("land", False), "wesnoth-1.16-data": ("story", True)}  # folder, painted
CLASSIC = ("astronaut", "coffee", "chelsea", "rocket", "retina", "immunohistochemistry", "hubble_deep_field", "camera")


@dataclass(frozen=True, slots=True)
class Base:
    """One artwork: a path to a PNG, its group (``painting``, ``photo``, ``flat``) and half (``tune``, ``held-out``; of
    fresh pictures it means nothing)."""

    name: str
    group: str
    path: Path

    @property
    def half(self) -> str:
        """By the name's digest; names of one family differ only behind the first ``-`` or digit."""
        family = re.split(r"[-_.\d]", self.name.lower())[0] or self.name
        return "tune" if sha256(family.encode()).digest()[0] % 2 == 0 else "held-out"

    def load(self) -> Image:
        """RGB, long side at most 2400 px."""
        return np.ascontiguousarray(cv2.imread(str(self.path), cv2.IMREAD_COLOR_RGB))


def collect(packages: Path, folder: Path, *, fresh: bool = False) -> list[Base]:
    """All base pictures, written once to ``folder`` as PNG; near duplicates among them are left out. ``fresh``: those
    that nothing was ever tuned or tried on."""
    folder.mkdir(parents=True, exist_ok=True)
    done = folder / "complete"
    if not done.exists():
        seen: list[imagehash.ImageHash] = []
        for name, picture, painted in _fresh(packages) if fresh else _pictures(packages):
            code = imagehash.phash(Pillow.fromarray(picture))
            if max(picture.shape[:2]) < 500 or any(code - other <= 10 for other in seen):
                continue
            seen.append(code)
            factor = SIDE / max(picture.shape[:2])
            small = (
                picture
                if factor >= 1
                else cv2.resize(picture, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
            )
            group = "painting" if painted else "flat" if _flat(picture) else "photo"
            cv2.imwrite(str(folder / f"{group}__{name}.png"), small[..., ::-1])
        done.touch()
    return [Base(p.stem.split("__")[1], p.stem.split("__")[0], p) for p in sorted(folder.glob("*.png"))]


def _flat(picture: Image) -> bool:
    grey = cv2.cvtColor(cv2.resize(picture, (256, 256), interpolation=cv2.INTER_AREA), cv2.COLOR_RGB2GRAY)
    return bool(cv2.Laplacian(grey.astype(np.float32), cv2.CV_32F).std() < 9)


def _pictures(packages: Path) -> Iterator[tuple[str, Image, bool]]:
    from skimage import data

    yield from _games(packages / "gcompris-qt-data")
    for package in PACKAGES:
        folders: dict[Path, Path] = {}
        for path in sorted((packages / package).rglob("*")):
            if (
                path.suffix.lower() in (".jpg", ".jpeg", ".png", ".webp")
                and path.is_file()
                and "screenshot" not in path.name
            ):
                key = path.parent if "contents" in path.parts else path
                if key not in folders or path.stat().st_size > folders[key].stat().st_size:
                    folders[key] = path
        for path in folders.values():
            picture = cv2.imread(str(path), cv2.IMREAD_COLOR_RGB)
            if picture is not None and max(picture.shape[:2]) >= 900:
                inside = "contents" in path.parts
                name = path.parts[path.parts.index("contents") - 1] if inside else path.stem
                yield (
                    name + ("-dark" if path.parent.name.endswith("dark") else ""),
                    np.asarray(picture, np.uint8),
                    False,
                )
    for name in CLASSIC:
        raw = np.asarray(getattr(data, name)())
        yield name, np.ascontiguousarray(raw[..., :3] if raw.ndim == 3 else np.dstack([raw] * 3)), False


def _fresh(packages: Path) -> Iterator[tuple[str, Image, bool]]:
    for package, (folder, painted) in FRESH.items():
        for path in sorted((packages / package).rglob(f"images/{folder}/*.jpg")):
            picture = cv2.imread(str(path), cv2.IMREAD_COLOR_RGB)
            if picture is not None:
                yield path.stem.split("@")[0], np.asarray(picture, np.uint8), painted


def _games(package: Path) -> Iterator[tuple[str, Image, bool]]:
    for stem in ("explore_monuments", "erase", "details", "explore_world_animals", "paintings"):
        for path in package.rglob(f"{stem}.rcc"):
            files = dict(entries(path.read_bytes()))
            if stem == "paintings":
                yield from ((name, picture, True) for name, picture in _puzzles(files))
                continue
            for inner, raw in sorted(files.items()):
                if inner.endswith((".webp", ".jpg", ".png")) and (stem != "details" or "background" in inner):
                    picture = cv2.imdecode(np.frombuffer(raw, np.uint8), cv2.IMREAD_COLOR_RGB)
                    if picture is not None:
                        name = Path(inner).stem.replace("_background", "")
                        yield name, np.asarray(picture, np.uint8), bool(re.search("Gogh|Tanguy|Eglise", name))


def entries(data: bytes) -> Iterator[tuple[str, bytes]]:
    """Paths and contents in a Qt resource file (the format is documented by Qt's ``rcc`` tool source)."""
    _, version, tree, blob, names = struct.unpack(">4sIIII", data[:20])
    node = 14 if version < 2 else 22

    def walk(index: int, prefix: str) -> Iterator[tuple[str, bytes]]:
        at = tree + index * node
        name_at, flags = struct.unpack(">IH", data[at : at + 6])
        path = prefix
        if index:
            (length,) = struct.unpack(">H", data[names + name_at : names + name_at + 2])
            path += "/" + data[names + name_at + 6 : names + name_at + 6 + 2 * length].decode("utf-16-be")
        if flags & 2:
            count, first = struct.unpack(">II", data[at + 6 : at + 14])
            for child in range(count):
                yield from walk(first + child, path)
            return
        (start,) = struct.unpack(">I", data[at + 10 : at + 14])
        (size,) = struct.unpack(">I", data[blob + start : blob + start + 4])
        raw = data[blob + start + 4 : blob + start + 4 + size]
        yield path, zlib.decompress(raw[4:]) if flags & 1 else raw

    yield from walk(0, "")


def _puzzles(files: dict[str, bytes]) -> Iterator[tuple[str, Image]]:
    """Paintings cut into pieces, put together by the places their boards give; the scale is the one without gaps."""
    by_name = {Path(p).name: raw for p, raw in files.items() if p.endswith(".webp")}
    for path, raw in sorted(files.items()):
        if not path.endswith(".qml") or b'"height"' not in raw:
            continue
        text = raw.decode()
        size = re.search(r'"width": *(\d+),\s*"height": *(\d+)', text)
        spots = re.findall(r'"pixmapfile" : "image/([^"]+webp)",\s*"x" : "([\d.]+)",\s*"y" : "([\d.]+)"', text)
        if size is None or len(spots) < 4:
            continue
        width, height = int(size[1]), int(size[2])
        pieces = [(_with_alpha(by_name[name]), float(x) * width, float(y) * height) for name, x, y in spots]
        scale = min(np.linspace(0.95, 1.1, 76), key=lambda k: _gaps(*_laid(pieces, width, height, float(k))))
        cover, picture = _laid(pieces, width, height, float(scale))
        if _gaps(cover, picture) > 0.05:
            continue
        ys, xs = np.nonzero(cover)
        box = np.s_[ys.min() : ys.max() + 1, xs.min() : xs.max() + 1]
        filled = cv2.inpaint(picture[box], (cover[box] == 0).astype(np.uint8), 3, cv2.INPAINT_TELEA)
        yield re.sub(r"[_-][a-z]?\d+\.webp$", "", spots[0][0]), np.asarray(filled, np.uint8)


def _with_alpha(raw: bytes) -> Image:
    piece = cv2.imdecode(np.frombuffer(raw, np.uint8), cv2.IMREAD_UNCHANGED)
    assert piece is not None
    alpha = piece[..., 3] if piece.shape[2] == 4 else np.full(piece.shape[:2], 255, np.uint8)
    return np.dstack([piece[..., 2::-1], alpha])


def _laid(pieces: list[tuple[Image, float, float]], width: int, height: int, scale: float) -> tuple[Image, Image]:
    w, h = int(width * scale), int(height * scale)
    cover, picture = np.zeros((h, w), np.uint8), np.zeros((h, w, 3), np.uint8)
    for piece, cx, cy in pieces:
        ph, pw = piece.shape[:2]
        x, y = round(cx * scale - pw / 2), round(cy * scale - ph / 2)
        x0, y0, x1, y1 = max(x, 0), max(y, 0), min(x + pw, w), min(y + ph, h)
        part = piece[y0 - y : y1 - y, x0 - x : x1 - x]
        solid = part[..., 3] > 127
        cover[y0:y1, x0:x1] += solid
        picture[y0:y1, x0:x1][solid] = part[..., :3][solid]
    return cover, picture


def _gaps(cover: Image, _: Image) -> float:
    ys, xs = np.nonzero(cover)
    box = cover[ys.min() : ys.max() + 1, xs.min() : xs.max() + 1].astype(int)
    return float((np.maximum(box - 1, 0) + (box == 0)).mean())
