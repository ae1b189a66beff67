"""Metadata and profiles embedded in a picture file, wherever its format keeps them."""

import hashlib
from dataclasses import dataclass, field

from catalogue.reading import exif
from catalogue.reading.blocks import IPTC, RESOLUTION, blocks_of, resolution_of
from catalogue.reading.model import Note, Picture
from catalogue.reading.profile import describe
from catalogue.reading.source import Source, Statements

SAME_WITHIN = 0.01     # JFIF states whole pixels per centimetre: half of one is .4 % at 300 ppi
UNKNOWN_PPI = 72.0     # CIPA DC-008, XResolution: "when the image resolution is unknown, 72 is designated"
LEAST_PPI, MOST_PPI = 1.0, 1e6
Ppi = tuple[float, float]


@dataclass(slots=True)
class Embedded:
    """Blocks of one file as found; empty for absent. ``resolutions``: where stated and pixels per inch, as stored."""

    icc: bytes = b""
    exif: bytes = b""
    xmp: bytes = b""
    iptc: bytes = b""
    blocks: bytes = b""                                         # image resource blocks ("8BIM")
    texts: dict[str, str] = field(default_factory=dict)         # Metadata field → value, in the format's own words
    resolutions: list[tuple[str, Ppi]] = field(default_factory=list)
    says_srgb: bool = False


def record_facts(source: Source, embedded: Embedded, size: tuple[int, int], bits: int, samples: int, photometric: str,
         alpha: str = "", compression: str = "") -> None:
    """Fill in the source's picture, statements and profile. ``size``: width and height as stored."""
    block = exif.parse(embedded.exif)
    resources = blocks_of(embedded.blocks)
    stated = list(embedded.resolutions)
    if block.resolution:
        stated.append(("Exif", block.resolution))
    across, down = resolution_of(resources.get(RESOLUTION, b""))
    if across and down:
        stated.append(("the image resources", (across, down)))
    ppi, notes = settle_resolution(stated)
    source.notes.extend(notes)
    source.icc = embedded.icc
    source.stated_srgb = embedded.says_srgb or block.says_srgb
    about = describe(embedded.icc)
    upright = block.orientation < 5
    source.picture = Picture(
        *(size if upright else size[::-1]), bits, "uint", samples, photometric, compression or source.format, "whole",
        False, alpha, block.orientation, *(ppi if upright else ppi[::-1]), about.name,
        hashlib.sha256(embedded.icc).hexdigest() if embedded.icc else "", about.white,
    )
    iptc = embedded.iptc or resources.get(IPTC, b"")
    source.statements = Statements(embedded.texts, block.facts(), iptc, embedded.xmp, source.format)


def settle_resolution(stated: list[tuple[str, Ppi]]) -> tuple[tuple[float | None, float | None], list[Note]]:
    """The pixels per inch to use, and a note if sources disagree.

    72 is what programs write if they do not know, so any other figure is preferred; then the first source that states
    one.
    """
    sound = [(source, ppi) for source, ppi in stated if all(LEAST_PPI < v < MOST_PPI for v in ppi)]
    if not sound:
        return (None, None), []
    known = [each for each in sound if any(abs(v - UNKNOWN_PPI) > SAME_WITHIN * UNKNOWN_PPI for v in each[1])]
    source, ppi = (known or sound)[0]
    others = [statement for statement in sound if not all(_same(a, b) for a, b in zip(statement[1], ppi, strict=True))]
    if not others:
        return ppi, []
    listing = "; ".join(f"{where} {_words(value)}" for where, value in [(source, ppi), *others])
    return ppi, [Note("two resolutions", f"its metadata disagrees on pixels per inch: {listing}. {_words(ppi)} is"
                      " used")]


def _same(a: float, b: float) -> bool:
    return abs(a - b) <= SAME_WITHIN * max(a, b)


def _words(ppi: Ppi) -> str:
    return f"{ppi[0]:.4g}" if _same(*ppi) else f"{ppi[0]:.4g} × {ppi[1]:.4g}"
