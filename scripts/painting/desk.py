"""Work on one piece at the scanning desk: its master, and everything made from it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta

import cv2
import numpy as np
import tifffile
from PIL import Image

from .canvas import Floats, Painting, Random
from .capture import (
    Light,
    Matrix,
    Samples,
    enlarged,
    expose,
    recapture,
    samples,
    shift,
    turn,
    wall_photo,
    warp,
    zoom,
)
from .profiles import profile
from .shelf import Entry, Shelf, described, relation
from .stock import FORMS, MAKER, MODEL, SOFTWARE, STITCHER, Original, scanned_at
from .tiffs import Form, Tags, write_tiff

# printed-looking work is scanned without relief, or its flat areas would carry grain no press makes
_RELIEF = {"flat": 0.0, "lines": 0.0, "tide": 0.0, "minimal": 0.0, "colour field": 0.0, "collage": 0.03, "wash": 0.05}


@dataclass(frozen=True)
class Desk:
    """One painting on the desk, and where its files go.

    All is captured at the painting's own pixels, and has `original.enlarge` times as many a side once it is stored.
    """

    shelf: Shelf
    original: Original
    painting: Painting
    rng: Random

    @property
    def folder(self) -> str:
        o = self.original
        if o.by_year:
            return f"main-disk/{o.year}"
        series = o.title.rsplit(" ", 3)[0] if o.manner == "tide" else o.title
        return f"main-disk/{o.artist}/{series}"

    @property
    def stem(self) -> str:
        o = self.original
        return f"inv {o.inventory:04d} {o.surname} - {o.title}" if o.by_year else o.title

    @property
    def master_name(self) -> str:
        return f"{self.folder}/{self.stem} {'[master]' if self.original.manner == 'tide' else 'master'}.tif"

    @property
    def light(self) -> Light:
        return Light(strength=_RELIEF.get(self.original.manner, 0.11))

    def tags(self, **changes: object) -> Tags:
        o = self.original
        when = scanned_at(o)
        # some masters say nothing of themselves, where their folders do
        made = Tags(
            o.title,
            o.artist,
            f"OL-{o.inventory:04d}",
            when,
            when + timedelta(hours=3),
            MAKER,
            MODEL,
            STITCHER,
            artwork=o.inventory % 2 == 0,
            xmp=o.by_year or o.manner == "tide" or o.inventory % 5 != 0,
            names_in_tiff=o.inventory % 4 != 0,
        )
        return replace(made, **changes)  # type: ignore[arg-type]

    def stored_as(self, colour: Floats, form: Form) -> Samples:
        """The samples of `colour` as they are stored."""
        times = self.original.enlarge
        if form.space == "lab":  # its a and b are signed and would wrap around between two pixels
            return samples(enlarged(colour, times), form.space, form.bits)
        return enlarged(samples(colour, form.space, form.bits), times)

    def write(
        self, name: str, colour: Floats, form: Form, ppi: float, tags: Tags, role: str, **truth: object
    ) -> None:
        """Store `colour`, captured at `ppi`, as `name` and note the truth."""
        pixels = self.stored_as(colour, form)
        ppi = round(ppi * self.original.enlarge, 3)
        pages: list[tuple[str, Samples]] = []
        if form.alpha:
            cut = np.full(pixels.shape[:2], 255, np.uint8)
            edge = max(2, pixels.shape[0] // 60)
            cut[:edge], cut[-edge:], cut[:, :edge], cut[:, -edge:] = 0, 0, 0, 0
            pixels = np.dstack([pixels, cut])
        if form.layers:
            pages = [
                ("Scan as captured", self.stored_as(np.clip(colour * np.float32(0.94), 0, 1), form)),
                ("Dust retouching", np.full_like(pixels, 255)),
            ]
        write_tiff(self.shelf.path(name), pixels, form, ppi, tags, pages)
        self.note(name, role, when=tags.digitized, **described(pixels, form, ppi, 1 + len(pages)), **truth)

    def related(self, kind: str, m: Matrix, **facts: object) -> Entry:
        """How a file of this desk came from the master, both as stored; `m` and places in `facts` are as captured."""
        times = self.original.enlarge
        for key in ("x", "y", "w", "h"):
            if key in facts:
                facts[key] = int(facts[key]) * times  # type: ignore[call-overload]
        return relation(kind, self.master_name, zoom(times) @ m @ np.linalg.inv(zoom(times)), **facts)

    def note(self, name: str, role: str, **truth: object) -> None:
        self.shelf.record(name, role=role, artist=self.original.artist, piece=self.original.title, **truth)  # type: ignore[arg-type]

    def master(self) -> None:
        o = self.original
        colour = expose(self.painting, self.light, self.rng)
        self.write(
            self.master_name,
            colour,
            FORMS[o.form],
            o.ppi,
            self.tags(),
            "master",
            current=True,
            inventory=f"OL-{o.inventory:04d}",
        )

    def stored(self) -> Samples:
        """The master's pixels as they lie in its file."""
        return np.asarray(tifffile.imread(self.shelf.root / self.master_name, key=0))

    def tiles(self, columns: int, rows: int, pattern: str, form: Form, overlap: float = 0.25) -> None:
        """Overlapping captures, numbered along rows from 1."""
        w, h = self.painting.size
        tw = round(w / (columns - (columns - 1) * overlap))
        th = round(h / (rows - (rows - 1) * overlap))
        for n in range(1, columns * rows + 1):
            column, row = (n - 1) % columns, (n - 1) // columns
            x = round(column * (w - tw) / max(1, columns - 1))
            y = round(row * (h - th) / max(1, rows - 1))
            m = shift(x, y)
            name = pattern.format(n=n, of=columns * rows, stem=self.stem, folder=self.folder)
            tags = self.tags(
                xmp=False,
                names_in_tiff=False,
                software=SOFTWARE,
                digitized=scanned_at(self.original) + timedelta(minutes=4 * n),
            )
            light = replace(self.light, gain=tuple(1 + self.rng.normal(0, 0.012, 3)), grain=0.004)
            self.write(
                name,
                recapture(self.painting, m, (tw, th), light, self.rng),
                form,
                self.original.ppi,
                tags,
                "tile",
                related=self.related("tile of", m, x=x, y=y, w=tw, h=th, number=n, count=columns * rows),
            )

    def rescan(
        self,
        name: str,
        degrees: float,
        form: Form,
        scale: float = 1.0,
        crop: float = 0.0,
        light: Light | None = None,
        days: int = 500,
        current: bool = False,
        tags: Tags | None = None,
        role: str = "master",
    ) -> None:
        """The original captured anew: turned, at another resolution, `crop` of each side cut off."""
        w, h = self.painting.size
        quarter = round(degrees / 90) % 2
        fw, fh = (h, w) if quarter else (w, h)
        size = (round(fw * scale * (1 - 2 * crop)), round(fh * scale * (1 - 2 * crop)))
        spin = turn(degrees, (w, h), (fw, fh))
        m = shift(round(fw * scale * crop), round(fh * scale * crop)) @ zoom(scale) @ spin
        colour = recapture(
            self.painting,
            m,
            size,
            light or replace(self.light, gain=(1.03, 1.0, 0.95), gamma=0.94, grain=0.006),
            self.rng,
        )
        when = scanned_at(self.original, days)
        tags = tags or self.tags(captured=when, digitized=when, xmp=False, names_in_tiff=False, software=SOFTWARE)
        related = self.related("re-scan", m, crop=crop)
        self.write(name, colour, form, self.original.ppi * scale, tags, role, related=related, current=current)

    def supersede(self, name: str, scale: float, form: Form) -> None:
        """An earlier, smaller master of the same piece, kept: the current one came later."""
        light = replace(self.light, gain=(0.96, 1.0, 1.05), gamma=1.06, grain=0.006, angle=315)
        when = scanned_at(self.original, -1100)
        tags = self.tags(captured=when, digitized=when, software="Ombrethwaite Capture 1.9", model="Flatbed A4")
        self.rescan(name, 0.6, form, scale, light=light, tags=tags)

    def print_file(self, width_cm: float, ppi: float, form: Form | None = None) -> None:
        """Resized for one size and sharpened, 8 bit, sRGB; `ppi` as the shop makes it."""
        w, h = self.painting.size
        ppi *= self.original.scale / self.original.enlarge
        s = width_cm / 2.54 * ppi / w
        size = (round(w * s), round(h * s))
        m = np.diag([size[0] / w, size[1] / h, 1.0])
        m[:2, 2] = [(m[0, 0] - 1) / 2, (m[1, 1] - 1) / 2]
        small = warp(expose(self.painting, self.light, self.rng), m, size)
        sharp = np.clip(small * np.float32(1.6) - cv2.GaussianBlur(small, (0, 0), 1.0) * np.float32(0.6), 0, 1)
        tall = round(width_cm * h / w)
        name = f"{self.folder}/{self.stem} print {width_cm:g}x{tall}.tif"
        when = scanned_at(self.original, 30)
        tags = self.tags(digitized=when, software="Ossel Print Prep 3", xmp=False)
        self.write(
            name,
            sharp,
            form or Form("jpeg", tiled=True, quality=85),
            ppi,
            tags,
            "print file",
            related=self.related("reworked", m),
        )

    def detail(self, name: str, x: float, y: float, w: float, h: float, scale: float) -> None:
        """A closer capture of the part at (x, y), sizes as fractions of the piece, `scale` times the master's ppi."""
        pw, ph = self.painting.size
        left, top = round(x * pw), round(y * ph)
        m = zoom(scale) @ shift(left, top)
        size = (round(w * pw * scale), round(h * ph * scale))
        colour = recapture(self.painting, m, size, replace(self.light, grain=0.004, angle=200), self.rng)
        related = self.related("detail of", m, x=left, y=top, w=round(w * pw), h=round(h * ph))
        self.write(
            name,
            colour,
            Form("jpeg", quality=86),
            self.original.ppi * scale,
            self.tags(xmp=False),
            "reference",
            related=related,
        )

    def again(self, name: str, form: Form | None = None, **changes: object) -> None:
        """The stored pixels written anew, in another compression or with other tags: pixels stay the same."""
        form, pixels, o = form or FORMS[self.original.form], self.stored(), self.original
        when = scanned_at(o, 400)
        tags = self.tags(digitized=when, xmp=True, **changes)
        ppi = round(o.ppi * o.enlarge, 3)
        write_tiff(self.shelf.path(name), pixels, form, ppi, tags)
        self.note(
            name,
            "master",
            when=when,
            related=self.related("same pixels", np.eye(3)),
            **described(pixels, form, ppi),
        )

    def jpeg(self, name: str, colour: Floats, m: Matrix, role: str, kind: str, quality: int = 84) -> None:
        """A JPEG beside or outside the store."""
        picture = Image.fromarray(np.round(colour * 255).astype(np.uint8))
        picture.save(self.shelf.path(name), quality=quality, icc_profile=profile("sRGB"))
        self.note(
            name,
            role,
            when=scanned_at(self.original, 90),
            related=relation(kind, self.master_name, m @ np.linalg.inv(zoom(self.original.enlarge))),
            width=picture.width,
            height=picture.height,
            compression="jpeg",
            space="sRGB",
            bits=8,
            samples=3,
        )

    def web(self, name: str, long_side: int = 480) -> None:
        """A small picture as sent by mail."""
        w, h = self.painting.size
        m = zoom(long_side / max(w, h))
        size = (round(w * m[0, 0]), round(h * m[0, 0]))
        self.jpeg(
            name, np.clip(warp(expose(self.painting, self.light, self.rng), m, size), 0, 1), m, "reference", "reworked"
        )

    def on_wall(self, name: str, size: tuple[int, int], corners: list[tuple[float, float]]) -> None:
        """A phone photo of a framed print; `corners`, from top left clockwise, in fractions of the photo."""
        w, h = self.painting.size
        start = np.array([[0, 0], [w - 1, 0], [w - 1, h - 1], [0, h - 1]], np.float32)
        end = (np.array(corners) * size).astype(np.float32)
        m = cv2.getPerspectiveTransform(start, end).astype(np.float64)
        photo = wall_photo(expose(self.painting, self.light, self.rng), m, size, self.rng)
        self.jpeg(name, photo, m, "reference", "photo of", quality=82)
