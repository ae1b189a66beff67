"""A TIFF as a Source: which of its images is the picture, how it is stored, and its rows."""

import hashlib
from collections.abc import Iterator
from typing import Any, BinaryIO

import numpy as np

from catalogue.errors import one_line
from catalogue.reading import exif
from catalogue.reading.blocks import IPTC, blocks_of
from catalogue.reading.embedded import MOST_PPI
from catalogue.reading.image import COMPRESSIONS, JPEG_2000, JPEGS, PHOTOMETRICS, Image, check, image_of
from catalogue.reading.limits import Deadline, Limits
from catalogue.reading.model import Fault, FaultFound, Note, Picture
from catalogue.reading.pil import pillow_samples
from catalogue.reading.profile import describe
from catalogue.reading.raster import Raster
from catalogue.reading.render import COLOUR_CHANNELS
from catalogue.reading.source import Rows, Samples, Source, Statements
from catalogue.reading.stretches import raster_stretches
from catalogue.reading.structure import Ifd, Structure, walk

ALPHA = {1: "associated", 2: "unassociated"}
FAXES = (2, 3, 4)
WHITE_IS_ZERO, PALETTE, YCBCR = 0, 3, 6
DECODED_TO_RGB = JPEGS | JPEG_2000 | {50001, 34927, 50002, 52546, 34933}


def open_tiff(file: BinaryIO, size: int, limits: Limits, deadline: Deadline) -> Source:
    """Describe an open TIFF; its samples come when asked for. Faults are in the Source, none is raised."""
    structure = walk(file.fileno(), size, limits)
    source = Source("BigTIFF" if structure.big else "TIFF", faults=structure.faults)
    images = [(ifd, image) for ifd in structure.ifds if (image := image_of(structure, ifd))]
    if not images:
        if not structure.faults:
            source.faults.append(FaultFound(Fault.DAMAGED, "holds no image"))
        return source
    ifd, image = choose(images)
    wrong, worth_decoding = check(image, size, limits)
    source.faults.extend(wrong)
    source.icc = structure.bytes_of(ifd, 34675)
    source.picture = _picture(structure, image, source.icc, images)
    source.statements, colour_space = _statements(structure, ifd)
    source.stated_srgb = colour_space == 1
    source.white_is_zero = image.photometric == WHITE_IS_ZERO
    if image.photometric == PALETTE:
        table = structure.numbers(ifd, 320).astype(np.uint16)
        source.palette = table[: len(table) // 3 * 3].reshape(3, -1).T if len(table) >= 3 else None
    if image.photometric == YCBCR and image.compression not in DECODED_TO_RGB:
        weights = structure.numbers(ifd, 529)
        sound = len(weights) == 3 and weights[1] > 0
        source.ycbcr = (float(weights[0]), float(weights[1]), float(weights[2])) if sound else (0.299, 0.587, 0.114)
    if 279 not in ifd.tags and 325 not in ifd.tags:
        source.notes.append(Note("no byte counts", "does not say how many bytes its pixels take: worked out from "
                                 "their offsets"))
    if worth_decoding:
        source.stretches = raster_stretches(image, size)
        source.samples = _samples(structure, image, file, limits, deadline, source)
    return source


def choose(images: list[tuple[Ifd, Image]]) -> tuple[Ifd, Image]:
    """The picture among a file's images: the first full one, unless it is a mere thumbnail of a later one.

    Layered files keep their composite first, so first wins; a first image of under a sixteenth of the largest one's
    pixels is an unmarked thumbnail.
    """
    full = [pair for pair in images if pair[1].kind in ("picture", "page")] or images
    main_chain = [pair for pair in full if pair[0].parent is None] or full
    first = main_chain[0]
    largest = max(main_chain, key=lambda pair: pair[1].width * pair[1].height)
    if first[1].width * first[1].height * 16 < largest[1].width * largest[1].height:
        return largest
    return first


def _picture(structure: Structure, image: Image, icc: bytes, images: list[tuple[Ifd, Image]]) -> Picture:
    ifd = image.ifd
    photometric = PHOTOMETRICS.get(image.photometric, f"photometric {image.photometric}")
    extra = [int(v) for v in structure.numbers(ifd, 338)]
    alpha = ""
    if image.samples > COLOUR_CHANNELS.get(photometric, 3):
        alpha = ALPHA.get(extra[0], "unspecified") if extra else "unspecified"
    orientation = structure.number(ifd, 274, 1)
    orientation = orientation if 1 <= orientation <= 8 else 1
    width, height = (image.width, image.height) if orientation < 5 else (image.height, image.width)
    ppi = _ppi(structure, ifd)
    ppi_x, ppi_y = ppi if orientation < 5 else ppi[::-1]
    about = describe(icc)
    return Picture(
        width, height, max(image.bits), image.sample_format, image.samples, photometric,
        COMPRESSIONS.get(image.compression, f"compression {image.compression}"),
        "tiles" if image.tiled else "strips", image.planar, alpha, orientation, ppi_x, ppi_y,
        about.name, hashlib.sha256(icc).hexdigest() if icc else "", about.white, 37724 in ifd.tags,
        tuple(other.page(index) for index, (_, other) in enumerate(images)) if len(images) > 1 else (),
    )


def _ppi(structure: Structure, ifd: Ifd) -> tuple[float | None, float | None]:
    scale = {2: 1.0, 3: 2.54}.get(structure.number(ifd, 296, 2))
    stated = [structure.numbers(ifd, code) for code in (282, 283)]
    if scale is None:
        return None, None
    across, down = (float(v[0]) * scale if len(v) and 0 < v[0] * scale < MOST_PPI else None for v in stated)
    return across, down


def _statements(structure: Structure, ifd: Ifd) -> tuple[Statements, int]:
    """What is stated where, and Exif's ColorSpace (1 is sRGB, 0 unstated)."""
    inner = exif.inner_directory(structure, ifd)
    iptc = structure.bytes_of(ifd, 33723) or blocks_of(structure.bytes_of(ifd, 34377)).get(IPTC, b"")
    statements = Statements(exif.facts(structure.texts(ifd), {}), exif.facts({}, structure.texts(inner)), iptc,
                            structure.bytes_of(ifd, 700))
    return statements, structure.number(inner, exif.COLOUR_SPACE, 0)


def _samples(
    structure: Structure, image: Image, file: BinaryIO, limits: Limits, deadline: Deadline, source: Source
) -> Samples | None:
    subsampled = image.photometric == YCBCR and [int(v) for v in structure.numbers(image.ifd, 530)] != [1, 1]
    chain = [ifd.offset for ifd in structure.ifds if ifd.parent is None]
    page = chain.index(image.ifd.offset) if image.ifd.offset in chain else 0
    if image.compression == 6 or (subsampled and image.compression not in DECODED_TO_RGB):
        source.ycbcr = None
        return pillow_samples(file, source, limits, deadline, page)
    if image.compression in FAXES and image.bits == (1,) and image.width * image.height <= limits.held_bytes:
        # libtiff mends fax lines that imagecodecs gives up on without a word
        return pillow_samples(file, source, limits, deadline, page, bilevel=True)
    try:
        raster = Raster(structure, image, file, limits, deadline)
    except Exception as error:  # the codec edge: tifffile's verdict on this directory
        source.faults.append(FaultFound(Fault.UNDECODED, one_line(error)))
        return None

    cut_known = any(fault.kind is Fault.TRUNCATED for fault in source.faults)

    def bands() -> Iterator[Rows]:
        return raster.bands()

    def final_faults() -> tuple[FaultFound, ...]:
        return raster.trouble.faults(image.segments, cut_known)

    kind: np.dtype[Any] = raster.dtype
    return Samples(image.width, image.height, image.samples, kind, bands, final_faults,
                   lambda: raster.trouble.decoded > 0)
