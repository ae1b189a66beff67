"""Making a print file: the steps in their fixed order, from the master's verified bytes to a verified file.

    1. read the master's rows; samples to 16-bit channels, transparency to white
    2. crop, and resample down, then across; sharpen, if the recipe says so
    3. convert to the recipe's profile, if it names one
    4. turn
    5. white, edge over wrap and bleed, marks
    6. 8 bits if the recipe says so; write with profile, resolution and recipe
    7. compare the master's SHA-256, read in the same run; read the new file back; only then give it its name
"""

import hashlib
import json
import os
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

from catalogue import __version__
from catalogue.errors import CatalogueError, Damaged, Refused, one_line
from catalogue.print_files.channels import LABS, black, channels_of, stored, white
from catalogue.print_files.compose import Colours, Pixels, level_colour, sheet_bands
from catalogue.print_files.conversion import converter, profile_space
from catalogue.print_files.layout import ENLARGED, Layout, Source, layout_of
from catalogue.print_files.master import HINT, OpenPicture, opened_picture
from catalogue.print_files.recipe import Recipe
from catalogue.print_files.resampling import Resampler, taps
from catalogue.print_files.sharpening import sharpened
from catalogue.print_files.spool import InOrder, Spool, spooled, turned_orientation
from catalogue.print_files.tiff_file import Form, Written, packet, write_tiff
from catalogue.progress import Cancelled, Progress, Report, Stopped, ignore_progress, never_cancelled
from catalogue.reading.digests import PixelDigest, sha256_of
from catalogue.reading.notes import NEED_NO_PROFILE
from catalogue.reading.render import Rendering
from catalogue.reading.source import Rows
from catalogue.storage.atomic import opened, part_of, rename_exclusive
from catalogue.storage.medium import drop_cache, flush, writing

MASTER_CHANGED = "The master's bytes have changed since its checksum was recorded."
STRIPS_TOGETHER = 4


@dataclass(frozen=True, slots=True)
class Made:
    """A finished print file that was read back. ``there``: the same bytes existed already. Digests are SHA-256 of
    the file and XXH3-128 of its pixels, as indexing would compute them."""

    path: Path
    recipe: Recipe
    width: int
    height: int
    size: int
    sha256: str
    pixel_digest: str
    versions: str
    ppi_there: float
    cautions: tuple[str, ...]
    there: bool = False


@dataclass(frozen=True, slots=True)
class Sheet:
    """A print file about to be made: its form, and its rows, to be taken once, as ``bands`` for the file or as
    ``channels``; ``digest`` is of the bands taken."""

    layout: Layout
    form: Form
    digest: PixelDigest
    channels: Callable[[], Iterator[Pixels]]    # before they are brought to the file's form
    bands: Callable[[], Iterator[Rows]]
    cautions: tuple[str, ...]


def versions_of(recipe: Recipe) -> str:
    """What a file's bytes hang on besides its recipe, as JSON: this program and the libraries that take part."""
    import imagecodecs

    versions = {"catalogue": __version__, "tifffile": version("tifffile"), "imagecodecs": version("imagecodecs")}
    if recipe.profile_sha256:
        versions |= {"littleCMS": str(imagecodecs.cms_version()).split()[-1], "numpy": version("numpy")}
    return json.dumps(versions, sort_keys=True, separators=(",", ":"))


def render(master: Path, recipe: Recipe, target: Path, *, profile: bytes = b"", report: Report = ignore_progress,
           cancelled: Cancelled = never_cancelled) -> Made:
    """Make the print file ``target``, whole or not at all, flushed and read back.

    ``profile``: the bytes of the ICC profile that the recipe names. ``target`` may exist only with exactly the bytes
    that would be written.

    Raises:
        Damaged: the master's bytes are not those the recipe names, or it cannot be read whole. Refused: the recipe
            cannot be made from it, or another file is at ``target``. CatalogueError: a disk failed or is full.
        Stopped: ``cancelled()`` said so.
    """
    versions = versions_of(recipe)
    with opened(target) as entry, part_of(entry) as (part, out):
        with opened_sheet(master, recipe, part.path, profile=profile, report=report, cancelled=cancelled) as sheet, \
                writing(target):
            written = write_tiff(part.path, sheet.bands(), sheet.form, packet(recipe, versions))
        with writing(target):
            flush(out)
            size = os.fstat(out).st_size
            drop_cache(out)
        sha256, pixels = digests_of(part.path, written, report=report, cancelled=cancelled)
        if not sha256 or pixels != sheet.digest.hexdigest():
            raise Damaged("The new print file does not read back as it was written.",
                          hint="The disk may be failing: use another folder.", path=target)
        there = entry.exists()
        if there and sha256_of(target, report=report, cancelled=cancelled) != sha256:
            raise Refused("Another file already has this name; it was not overwritten.", hint="Choose another folder.",
                          path=target)
        if not there:
            rename_exclusive(part, entry)
    return Made(target, recipe, sheet.form.width, sheet.form.height, size, sha256, pixels, versions,
                sheet.layout.ppi_there, sheet.cautions, there)


@contextmanager
def opened_sheet(master: Path, recipe: Recipe, scratch: Path, *, profile: bytes = b"", report: Report = ignore_progress,
                 cancelled: Cancelled = never_cancelled) -> Iterator[Sheet]:
    """The print file as rows, for whoever writes or compares them; on leaving, the master's digest is compared.

    A temporary file is made in the folder of ``scratch`` where rows are needed in an order other than the one they come
    in. Raises as :func:`render`.
    """
    if hashlib.sha256(profile).hexdigest() != recipe.profile_sha256 and (profile or recipe.profile_sha256):
        raise Refused("The profile is not the one that the recipe names.",
                      hint=f"Its SHA-256 is {recipe.profile_sha256 or 'none'}.")
    with opened_picture(master) as picture, ExitStack() as held:
        yield _sheet(picture, recipe, scratch, profile, report, cancelled, held)
        if picture.finish() != recipe.master_sha256:
            raise Damaged(MASTER_CHANGED, hint=HINT,
                          path=master)


def _sheet(picture: OpenPicture, recipe: Recipe, scratch: Path, profile: bytes, report: Report, cancelled: Cancelled,
           held: ExitStack) -> Sheet:
    about, samples = picture.source.picture, picture.source.samples
    channels = channels_of(picture.source)
    if about is None or samples is None:
        raise Damaged("The picture cannot be read.", hint=HINT, path=picture.path)
    layout = layout_of(recipe, about.width, about.height)
    orientation = turned_orientation(about.orientation, recipe.turn)
    part = _as_stored(layout.source, about.width, about.height, about.orientation)
    size = (layout.picture.width, layout.picture.height)[:: -1 if orientation > 4 else 1]
    resampler = Resampler(taps(recipe.kernel, samples.width, part.left, part.width, size[0]),
                          taps(recipe.kernel, samples.height, part.top, part.height, size[1]),
                          channels.count, channels.of)
    convert, space = None, channels.space
    if profile:
        convert = converter(space, channels.bits, picture.source.icc, profile, recipe.intent, recipe.black_point)
        space = profile_space(profile)
    elif space in LABS and recipe.bits != channels.bits:
        raise Refused(f"A {space} master is printed with its own {channels.bits} bits.",
                      hint="Choose these, or convert to a profile.")
    colours = _colours(recipe, space)
    form = Form(layout.width, layout.height, len(colours.white), space, recipe.bits, recipe.ppi,
                profile or picture.source.icc, recipe.compression)
    icc_digest = hashlib.sha256(form.icc).hexdigest() if form.icc else ""
    digest = PixelDigest((form.height, form.width, form.channels), form.dtype.name, space, icc_digest.encode())

    def sheet_channels() -> Iterator[Pixels]:
        rows = resampler.bands(_master_rows(picture, cancelled))
        if recipe.sharpen:
            rows = sharpened(rows, size[0], size[1], channels.count, recipe.sharpen, channels.space in LABS)
        if convert is not None:
            rows = (convert(band) for band in rows)
        in_order = orientation == 1 and layout.filled == layout.picture
        if not (in_order and layout.picture_alone):
            source: InOrder | Spool = InOrder(rows)
            if not in_order:
                source = held.enter_context(Spool(scratch, size[0], size[1], form.channels, orientation))
                for count in spooled(source, rows):
                    report(Progress("reading the master", count, size[1]))
            rows = sheet_bands(layout, source, colours, STRIPS_TOGETHER * form.strip_rows)
        done = 0
        for band in rows:
            if cancelled():
                raise Stopped
            yield band
            done += len(band)
            report(Progress("making the print file", done, layout.height))

    def bands() -> Iterator[Rows]:
        for band in sheet_channels():
            as_stored = stored(band, space, recipe.bits)
            digest.update(as_stored)
            yield as_stored

    return Sheet(layout, form, digest, sheet_channels, bands, (*channels.cautions, *_cautions(recipe, layout, form)))


def _as_stored(part: Source, width: int, height: int, orientation: int) -> Source:
    """A part of a picture as shown (``width`` × ``height``), where it lies in the stored raster."""
    left = width - part.left - part.width if orientation in (2, 3, 6, 7) else part.left
    top = height - part.top - part.height if orientation in (3, 4, 7, 8) else part.top
    return Source(top, left, part.height, part.width) if orientation > 4 else Source(left, top, part.width, part.height)


def _master_rows(picture: OpenPicture, cancelled: Cancelled) -> Iterator[Rows]:
    """The master's rows; any refusal of a codec or the medium is Damaged."""
    try:
        for band in picture.source.samples.bands() if picture.source.samples else ():
            if cancelled():
                raise Stopped
            yield band
    except (Stopped, CatalogueError, GeneratorExit):
        raise
    except Exception as error:  # the codec edge
        raise Damaged(f"The master cannot be read in full: {one_line(error)}.", hint=HINT, path=picture.path) from error


def _colours(recipe: Recipe, space: str) -> Colours:
    paper, black_level = white(space, recipe.bits), black(space, recipe.bits)
    if levels := recipe.levels:
        if len(levels) != len(paper):
            raise Refused(f"The colour of the edge has {len(levels)} levels; this file is {space} and needs"
                          f" {len(paper)}.")
        return Colours(paper, black_level, level_colour(levels, space, recipe.bits))
    return Colours(paper, black_level, paper if recipe.edge_colour == "white" else black_level)


def _cautions(recipe: Recipe, layout: Layout, form: Form) -> Iterator[str]:
    if recipe.ppi > layout.ppi_there * ENLARGED:
        yield f"enlarged to {recipe.ppi} ppi: the master has {layout.ppi_there:.0f} ppi at this size"
    if not form.icc and form.space not in NEED_NO_PROFILE:
        yield "the master has no profile, so the print file has none: its colours are not defined"
    if form.big:
        yield "larger than 4 GB, so it is a BigTIFF, which not every program opens"


def digests_of(path: Path, written: Written | None = None, *, report: Report = ignore_progress,
               cancelled: Cancelled = never_cancelled) -> tuple[str, str]:
    """SHA-256 of a picture file's bytes and the digest of its pixels, in one pass.

    Of a file as it was ``written`` the former is known, if it holds that head, then its pixels, and no more: the caller
    compares the pixels. "" if it does not. Raises as :func:`render`.
    """
    with opened_picture(path, digested=written is None) as picture:
        samples, view = picture.source.samples, Rendering(picture.source)
        if samples is None:
            raise Damaged("The picture cannot be read.", path=path)
        digest = PixelDigest((samples.height, samples.width, samples.channels), samples.dtype.name, view.meaning,
                             view.identity)
        done = 0
        for band in _master_rows(picture, cancelled):
            digest.update(band)
            done += len(band)
            report(Progress("reading the print file back", done, samples.height))
        sha256 = picture.finish()
    if written is not None:
        size = len(written.head) + samples.height * samples.width * samples.channels * samples.dtype.itemsize
        with path.open("rb") as file:
            whole = file.read(len(written.head)) == written.head and os.fstat(file.fileno()).st_size == size
        sha256 = written.sha256 if whole else ""
    return sha256, digest.hexdigest()
