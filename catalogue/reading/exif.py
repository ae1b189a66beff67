"""Facts from Exif (CIPA DC-008): a TIFF's own directory, or the block other formats carry."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from catalogue.reading.limits import Limits
from catalogue.reading.structure import Ifd, Structure, opened

IMAGE_TEXTS = {
    0x010D: "title", 0x010E: "description", 0x010F: "make", 0x0110: "model", 0x0131: "software", 0x0132: "modified",
    0x013B: "creator", 0x8298: "rights",
}
EXIF_IFD, ORIENTATION, X_RESOLUTION, Y_RESOLUTION, RESOLUTION_UNIT = 0x8769, 0x0112, 0x011A, 0x011B, 0x0128
ORIGINAL, DIGITIZED, OFFSET_ORIGINAL, OFFSET_DIGITIZED, COLOUR_SPACE = 0x9003, 0x9004, 0x9011, 0x9012, 0xA001
MOST_ENTRIES = 0xFFFF   # whatever number a damaged block claims, those that lie in it are read


def iso_time(stated: str, offset: str = "") -> str:
    """``YYYY:MM:DD HH:MM:SS`` as ISO 8601, with the zone where one is stated; other text as it is."""
    text = stated.strip("\0 ")
    if re.fullmatch(r"[0-9]{4}(:[0-9]{2}){5}", text):   # as some cameras write it
        text = f"{text[:10]} {text[11:]}"
    date, _, clock = text.partition(" ")
    parts = date.replace("-", ":").split(":")
    if len(parts) != 3 or not all(re.fullmatch("[0-9]{1,4}", part) for part in parts) or int(parts[0]) == 0:
        return text if re.search("[1-9]", text) else ""
    return "-".join(parts) + (f"T{clock}{offset.strip(chr(0) + ' ')}" if clock else "")


def facts(image: Mapping[int, str], exif: Mapping[int, str]) -> dict[str, str]:
    """Metadata fields from the texts of the image directory and of the Exif directory."""
    texts = {name: image[code] for code, name in IMAGE_TEXTS.items() if code in image}
    if "modified" in texts:
        texts["modified"] = iso_time(texts["modified"])
    original = iso_time(exif.get(ORIGINAL, ""), exif.get(OFFSET_ORIGINAL, ""))
    texts["captured"] = original or iso_time(exif.get(DIGITIZED, ""), exif.get(OFFSET_DIGITIZED, ""))
    return {name: value for name, value in texts.items() if value}


def inner_directory(structure: Structure, image: Ifd) -> Ifd:
    """The Exif directory referred to by an image directory; empty if there is none."""
    offset = structure.number(image, EXIF_IFD, 0)
    return Ifd(offset, structure.directory(offset)[0] if offset else {})


@dataclass(frozen=True, slots=True)
class Block:
    """An Exif block: a TIFF of an image directory and an Exif directory."""

    structure: Structure
    image: Ifd
    inner: Ifd

    @property
    def orientation(self) -> int:
        """1 to 8; 1 if it is missing or invalid."""
        stated = self._number(self.image, ORIENTATION, 1)
        return int(stated) if 1 <= stated <= 8 else 1

    @property
    def resolution(self) -> tuple[float, float] | None:
        """Pixels per inch across and down; ``None`` if a number or the unit is missing, or the unit is "none".

        CIPA DC-008 4.6.4 has inches for a missing unit; files without it carry whatever their program began with.
        """
        scale = {2: 1.0, 3: 2.54}.get(int(self._number(self.image, RESOLUTION_UNIT, 0)))
        across, down = (self._number(self.image, code, 0.0) for code in (X_RESOLUTION, Y_RESOLUTION))
        return (across * scale, down * scale) if scale and across > 0 and down > 0 else None

    @property
    def says_srgb(self) -> bool:
        """Whether ColorSpace is 1 (sRGB)."""
        return self._number(self.inner, COLOUR_SPACE, 0) == 1

    def facts(self) -> dict[str, str]:
        """Metadata fields."""
        return facts(self.structure.texts(self.image), self.structure.texts(self.inner))

    def _number(self, ifd: Ifd, code: int, default: float) -> float:
        """The first number of a tag, or ``default``; NaN is none."""
        first = [float(value) for value in self.structure.numbers(ifd, code)[:1]]
        return first[0] if first and math.isfinite(first[0]) else default


def parse(data: bytes) -> Block:
    """A block as JPEG, PNG, WebP, PSD and JPEG 2000 carry it, with or without its ``Exif\\0\\0`` head. Entries that
    make no sense are left out."""
    data = data.removeprefix(b"Exif\0\0")
    if data[:4] not in (b"II*\0", b"MM\0*"):
        data = b""
    structure, first = opened(lambda count, at: data[at : at + count], len(data), Limits())
    structure.most_tags = MOST_ENTRIES
    image = _whole(structure, Ifd(first, structure.directory(first)[0] if first else {}))
    return Block(structure, image, _whole(structure, inner_directory(structure, image)))


def _whole(structure: Structure, ifd: Ifd) -> Ifd:
    """A directory without entries that reach beyond the block."""
    return Ifd(ifd.offset, {code: tag for code, tag in ifd.tags.items() if tag.offset + tag.size <= structure.size})
