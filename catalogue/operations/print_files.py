"""Make the print file for the printer from the verified master and its recipe, and say what changed since last time."""

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from catalogue.dates import shown_day
from catalogue.errors import CatalogueError, Damaged, Refused, required
from catalogue.fixity.profiles import PROFILE_BYTES, keep_profile
from catalogue.ledger import repeat
from catalogue.ledger.cautions import CROP_WORTH_SAYING
from catalogue.ledger.health import Copy, check_now, sound_copy
from catalogue.ledger.print_recipe import earlier_recipe, recipe_for
from catalogue.operations.print_comparison import (
    Comparison,
    compare_with,
    describe_comparison,
    kept_profile,
)
from catalogue.operations.wording import counted
from catalogue.print_files.layout import Layout, layout_of
from catalogue.print_files.recipe import Recipe, from_json
from catalogue.print_files.render import Made, render, versions_of
from catalogue.print_files.tiff_file import recipe_in
from catalogue.progress import Cancelled, Report, data_size, ignore_progress, never_cancelled
from catalogue.records import orders, print_files, stores
from catalogue.records.database import Database, transaction
from catalogue.records.orders import Line
from catalogue.records.paths import escape_path
from catalogue.records.print_files import PrintFile
from catalogue.records.rows import now
from catalogue.records.scans import Scan
from catalogue.settings import Home
from catalogue.sheets.writing import outside, safe_name
from catalogue.storage.identity import identity
from catalogue.untrusted import read_regular

OTHER_PRINT_FILE = ("A print file made with other choices, or by another version, already has this name; it was not"
                    " overwritten.")
ANOTHER_FILE = "Another file already has this name; it was not overwritten."


@dataclass(frozen=True, slots=True)
class PrintPlan:
    """One line's print file before it is made. ``last`` is the newest that was made of it, or of the line it repeats.
    """

    line: Line
    scan: Scan
    copy: Copy
    master: Path            # where the copy can be opened
    recipe: Recipe
    profile: bytes
    name: str
    last: PrintFile | None
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PrintMade:
    """A print file that was made for a line, and how it compares with last time's, if there was one."""

    line: Line
    file: Made
    record_id: int
    cautions: tuple[str, ...]   # of the plan and of the file
    comparison: Comparison | None


@dataclass(frozen=True, slots=True)
class NotMade:
    """A line without a print file, and the reason."""

    line: Line
    message: str
    hint: str
    path: str


@dataclass(frozen=True, slots=True)
class PrintFilesMade:
    """The print files made for some lines, and the lines without one."""

    made: tuple[PrintMade, ...]
    not_made: tuple[NotMade, ...]


def lines_to_print(db: Database, number: str, line_id: int | None = None) -> list[Line]:
    """The lines of an order that are not cancelled, or one of them. Raises NotFound, Refused."""
    wanted = [line for line in orders.lines_by_number(db, number, line_id) if line.status != "cancelled"]
    if not wanted:
        raise Refused(f"Order {number!r} was cancelled." if line_id is None else f"Line {line_id} was cancelled.")
    return wanted


def chosen_lines(db: Database, line_ids: Sequence[int]) -> list[Line]:
    """Lines to print, by their ids. Raises NotFound if one is gone, Refused if one was cancelled."""
    chosen: list[Line] = []
    for line_id in line_ids:
        line = required(orders.line(db, line_id), f"Order line {line_id} no longer exists.")
        chosen += lines_to_print(db, line.number, line_id)
    return chosen


def read_profile(path: Path) -> bytes:
    """The bytes of an ICC profile to convert to. Raises Refused if it is none, CatalogueError if it cannot be read."""
    from catalogue.print_files.conversion import profile_space

    try:
        data = read_regular(path, PROFILE_BYTES, follow=True)
    except OSError as error:
        raise CatalogueError(f"The profile cannot be read: {error.strerror or error}.", path=path) from error
    profile_space(data)
    return data


def plan_print(db: Database, home: Home, line: Line, chosen: Mapping[str, Any], *, profile: bytes | None = None,
               afresh: bool = False) -> PrintPlan:
    """What would be made for a line. Changes nothing.

    ``chosen`` holds fields of a recipe as a person said them; the rest is as last time, unless ``afresh``. ``profile``:
    the bytes of one to convert to, b"" for none, None as last time.

    Raises NotFound, CatalogueError: no sound copy of the scan, or last time's profile, is within reach. Refused: no
    such print can be made.
    """
    job = repeat.as_recorded(db, home, line.id)
    scan, copy, master = sound_copy(job.printing)
    earlier = earlier_recipe(db, line, line.id, scan.sha256)
    before = from_json(earlier.recipe) if earlier and not afresh else None
    if profile is not None:
        chosen = {**chosen, "profile_sha256": sha256(profile).hexdigest() if profile else ""}
    recipe = recipe_for(line, scan, chosen, before, home.settings.print_ppi)
    layout = layout_of(recipe, scan.width or 0, scan.height or 0)
    size = f"{recipe.width_mm:g}x{recipe.height_mm:g}mm {recipe.ppi}ppi"
    name = safe_name(f"{line.number}-{line.id} {size} {line.title}") + ".tif"
    cautions = [*_cautions(recipe, layout, scan, job.fit.least_ppi if job.fit else 0)]
    if before and earlier and earlier.file is None:
        cautions.append("turn, crop and edge are those of an older print file, as confirmed on"
                        f" {shown_day(earlier.date, home.settings.dates)}")
    return PrintPlan(line, scan, copy, master, recipe, profile or kept_profile(home, recipe.profile_sha256), name,
                     earlier.file if earlier else None, tuple(cautions))


def _cautions(recipe: Recipe, layout: Layout, scan: Scan, least_ppi: int) -> Iterator[str]:
    if layout.ppi_there < least_ppi:
        yield f"the master has {layout.ppi_there:.0f} ppi at this size; this medium needs at least {least_ppi}"
    left_out = 1 - layout.source.width * layout.source.height / ((scan.width or 1) * (scan.height or 1))
    if recipe.crop is None and left_out >= CROP_WORTH_SAYING:
        yield f"the print's shape crops {left_out:.0%} of the picture"


def print_folder(db: Database, home: Home, folder: Path | None) -> Path:
    """Where print files go: as said, else as the settings say. Raises Refused if it is in a store, or nothing is
    said; CatalogueError if it is not there."""
    typed = str(folder or home.settings.print_folder)
    if not typed:
        raise Refused("No folder for print files is set.",
                      hint="Set print_folder in settings.toml, or use --to FOLDER.")
    path = Path(os.path.expanduser(typed)).absolute()    # noqa: PTH111 - Path's raises for an unknown user
    if not path.is_dir():
        raise CatalogueError("The folder for print files does not exist.", hint="Is its disk connected?", path=path)
    return path if home.settings.print_in_stores else outside(path, stores.listed(db))


def make_print(db: Database, home: Home, plan: PrintPlan, folder: Path, *, report: Report = ignore_progress,
               cancelled: Cancelled = never_cancelled) -> PrintMade:
    """Make one planned print file in ``folder``, record it, and compare it with last time's.

    A file of the same bytes that is there already is confirmed.

    Raises Damaged: the master fails its digest, which becomes a finding. Refused: another file is there, or the master
    is of a kind that cannot be printed. CatalogueError: a disk failed. Stopped: ``cancelled()`` said so.
    """
    target = folder / plan.name
    if target.exists() and (there := recipe_in(target)) != (plan.recipe, versions_of(plan.recipe)):
        raise Refused(OTHER_PRINT_FILE if there else ANOTHER_FILE,
                      hint="Remove it once it is printed, or choose another folder." if there else
                      "Choose another folder.", path=target)
    try:
        made = render(plan.master, plan.recipe, target, profile=plan.profile, report=report, cancelled=cancelled)
    except Damaged:
        check_now(db, plan.scan, plan.copy, report=report, cancelled=cancelled)     # which records what is wrong
        raise
    if plan.profile:
        keep_profile(home, plan.profile)
    file = PrintFile(plan.line.id, now(), plan.recipe.to_json(), made.versions, made.width, made.height, made.size,
                        made.sha256, made.pixel_digest, escape_path(str(folder)), escape_path(plan.name))
    record_id = _recorded(db, plan, file)
    comparison = compare_with(db, home, made, plan.last, report=report, cancelled=cancelled) if plan.last else None
    return PrintMade(plan.line, made, record_id, (*plan.cautions, *made.cautions), comparison)


def _recorded(db: Database, plan: PrintPlan, file: PrintFile) -> int:
    """The record of a file; one that stood there and is on record is not recorded twice."""
    last = plan.last
    if last and last.line_id == file.line_id and (last.sha256, last.folder, last.name, last.recipe) == (
            file.sha256, file.folder, file.name, file.recipe):
        return last.id
    with transaction(db, "print file made"):
        return print_files.add(db, file)


def make_prints(db: Database, home: Home, lines: Sequence[Line], chosen: Mapping[str, Any], folder: Path, *,
                profile: bytes | None = None, afresh: bool = False, report: Report = ignore_progress,
                cancelled: Cancelled = never_cancelled) -> PrintFilesMade:
    """Plan and make the print files of some lines, one after the other; a line that fails keeps none of the others.

    Raises: as :func:`make_print` where there is one line alone; Stopped. If another folder has taken its place, since
    its disk was pulled, that is reported and nothing is written there.
    """
    folder_id = identity(folder)
    made: list[PrintMade] = []
    failed: list[NotMade] = []
    for line in lines:
        try:
            plan = plan_print(db, home, line, chosen, profile=profile, afresh=afresh)
            if identity(folder) != folder_id:
                raise _gone(folder)
            made.append(make_print(db, home, plan, folder, report=report, cancelled=cancelled))
        except CatalogueError as met:
            error = met if identity(folder) == folder_id else _gone(folder)
            if len(lines) == 1:
                raise error from met
            failed.append(NotMade(line, error.message, error.hint, str(error.path or "")))
    return PrintFilesMade(tuple(made), tuple(failed))


def _gone(folder: Path) -> CatalogueError:
    return CatalogueError("The folder for print files was disconnected before the file was whole.",
                          hint="Connect its disk, then print again.", path=folder)


def summarize(done: PrintFilesMade, dates: str) -> list[str]:
    """Each file, what a person should know of it, and how it compares with last time's; then what was not made."""
    lines = []
    for made in done.made:
        file = made.file
        lines.append(f"{file.path}{' was there already' if file.there else ''}")
        lines.append(f"  {file.width} × {file.height} px, {file.recipe.ppi} ppi, {file.recipe.bits} bit,"
                     f" {data_size(file.size)}; the master has {file.ppi_there:.0f} ppi at this size")
        lines += [f"  note: {caution}" for caution in made.cautions]
        lines += [f"  {text}" for text in describe_comparison(made.comparison, dates)] if made.comparison else []
    for missing in done.not_made:
        reason = f"{missing.message} {missing.hint}".rstrip()
        lines.append(f"not made: line {missing.line.id}, {missing.line.title}: {reason}")
    if len(done.made) + len(done.not_made) > 1:
        lines.append(f"{counted(len(done.made), 'print file')} made, {len(done.not_made)} not made")
    return lines
