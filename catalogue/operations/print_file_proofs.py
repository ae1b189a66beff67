"""Print files in a store that can be made again: proven by doing so, freed, and brought back."""

import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

from catalogue.errors import CatalogueError
from catalogue.fixity.copying import copy_verified
from catalogue.indexing.locating import opened_store
from catalogue.intake.freeing import TOO_FEW_OTHERS, Freed, bring_back_listed, free_listed
from catalogue.intake.removing import digest_of, lacking_copies, verified_copies
from catalogue.intake.undo_lists import PRINT_FILES
from catalogue.operations.doubles import skipped_lines
from catalogue.operations.print_comparison import kept_profile, opened_again, sound_master
from catalogue.operations.wording import counted
from catalogue.print_files.recipe import from_json
from catalogue.print_files.render import render
from catalogue.progress import Cancelled, Progress, Report, data_size, ignore_progress, never_cancelled
from catalogue.records import events, files, print_files, scans, stores
from catalogue.records.database import Database, transaction
from catalogue.records.doubles import DoubledFile
from catalogue.records.paths import display_path, native_path, stored_mtime
from catalogue.records.print_files import PrintFile, StoredPrintFile
from catalogue.records.stores import Store
from catalogue.settings import Home
from catalogue.storage.folders import Entry, OpenFolder, open_entry

CHANGED = "its bytes are not those on record"
OTHER_PIXELS = "made again, its pixels differ"
NAMED_BY_ORDER = "an order names this very file as its scan"
NOT_PUT_BACK = "Made again, its pixels differ from those on record."


@dataclass(frozen=True, slots=True)
class PrintFileProof:
    """A print file in a store. ``why`` says why it could not be proven that it can be made again; "" if it was."""

    store: str
    path: str
    size: int
    sha256: str
    line_id: int
    why: str

    @property
    def proven(self) -> bool:
        return not self.why


def prove_print_files(db: Database, home: Home, name: str, *, report: Report = ignore_progress,
                      cancelled: Cancelled = never_cancelled) -> list[PrintFileProof]:
    """Compute every print file that is in a store again and compare the pixels. Changes nothing.

    A file is proven when its bytes, read now, are those on record, and the master, read now and intact, gives the
    pixels on record under the recipe on record. Raises NotFound, StoreAway, Stopped.
    """
    store = stores.by_name(db, name)
    lying = print_files.in_store(db, store.id)
    proofs = []
    for number, file in enumerate(lying):
        report(Progress("making again", number, len(lying), note=file.path))
        made = print_files.by_id(db, file.print_file_id)
        try:
            why = _why_not(db, home, store, file, made, cancelled) if made else "it is no longer on record"
        except CatalogueError as error:
            why = f"{error.message} {error.hint}".strip()
        proofs.append(PrintFileProof(store.name, file.path, file.size, file.sha256, made.line_id if made else 0, why))
    return proofs


def _why_not(db: Database, home: Home, store: Store, file: StoredPrintFile, made: PrintFile,
             cancelled: Cancelled) -> str:
    try:
        with opened_store(db, store) as root, open_entry(root, native_path(file.path)) as entry:
            now = digest_of(entry, cancelled)
    except OSError as error:
        return f"it cannot be read: {error.strerror}"
    if now != made.sha256:
        return CHANGED
    with opened_again(db, home, from_json(made.recipe), cancelled=cancelled) as sheet:
        for _ in sheet.bands():
            pass        # the digest follows the rows as they go by
    return "" if sheet.digest.hexdigest() == made.pixel_digest else OTHER_PIXELS


def free_print_files(db: Database, home: Home, name: str, *, report: Report = ignore_progress,
                     cancelled: Cancelled = never_cancelled) -> Freed:
    """Remove the print files of a store that can be made again, each proven just before.

    The rule is that of doubles, with the master in the place of the file that is kept: as many verified copies of it in
    different places as the shop wants, no sidecar, exactly the file on record, and a list by which all of it can be
    brought back. A file that an order names as its scan stays. Raises NotFound, StoreAway, Busy, CatalogueError.
    """
    store = stores.by_name(db, name)
    chosen = []
    for file in print_files.in_store(db, store.id):
        if made := print_files.by_id(db, file.print_file_id):
            chosen.append(((file, made), DoubledFile(file.file_id, file.scan_id, file.sha256, file.path, file.size,
                                                     file.mtime_ns, 1)))

    def check(subject: tuple[StoredPrintFile, PrintFile], _: DoubledFile, __: os.stat_result) -> str:
        file, made = subject
        if file.printed_from:
            return NAMED_BY_ORDER
        recipe = from_json(made.recipe)
        masters = [location for _, location in verified_copies(db, recipe.master_sha256)]
        if why := lacking_copies(home.settings, masters, TOO_FEW_OTHERS):
            return f"of its master {why}"
        return _why_not(db, home, store, file, made, cancelled)

    return free_listed(
        db, home, store, PRINT_FILES, chosen, check,
        lambda subject, file: {"to": file.path, "print_file": str(subject[1].id)},
        lambda subject: f"a print file freed: made again from {from_json(subject[1].recipe).master_sha256}, read just"
                        " then, it had the same pixels", report=report, cancelled=cancelled)


def bring_back_print_files(db: Database, home: Home, path: Path, *, report: Report = ignore_progress,
                           cancelled: Cancelled = never_cancelled) -> Freed:
    """Make every print file of a list of freed ones again, in its place.

    Where other versions of the libraries give the same pixels in another file, that is put there, and the next index
    run records it; other pixels are not put there. Raises CatalogueError: no such list; StoreAway.
    """
    return bring_back_listed(
        db, home, path, PRINT_FILES, "making again",
        lambda store, root, line: _made_again(db, home, store, root, line, report, cancelled),
        report=report, cancelled=cancelled)


def _made_again(db: Database, home: Home, store: Store, root: OpenFolder, line: dict[str, str], report: Report,
                cancelled: Cancelled) -> DoubledFile:
    made = print_files.by_id(db, int(line["print_file"])) if line.get("print_file", "").isdecimal() else None
    if made is None or made.sha256 != line["sha256"]:
        raise CatalogueError("This print file is no longer on record.")
    with open_entry(root, native_path(line["from"]), create=True) as target:
        sha256 = digest_of(target, cancelled)
        if sha256 != made.sha256:
            sha256 = _copied(db, home, made, target, report, cancelled)
        stat = target.stat()
    scan = scans.by_digest(db, sha256)
    with transaction(db):
        if scan is not None:
            files.save(db, store.id, line["from"], stat.st_size, stat.st_mtime_ns, scan.id, verified=True)
        events.append(db, "creation", "success", store=store.name, path=line["from"], sha256=sha256,
                      detail="print file made again from its master")
    return DoubledFile(0, scan.id if scan else 0, sha256, line["from"], stat.st_size, stored_mtime(stat.st_mtime_ns), 1)


def _copied(db: Database, home: Home, made: PrintFile, target: Entry, report: Report, cancelled: Cancelled) -> str:
    """The print file made beside the catalogue, then copied to its place and verified; returns its SHA-256."""
    recipe = from_json(made.recipe)
    with tempfile.TemporaryDirectory(dir=home.folder, prefix="print-") as folder:
        file = render(sound_master(db, recipe), recipe, Path(folder, "print.tif"),
                      profile=kept_profile(home, recipe.profile_sha256), report=report, cancelled=cancelled)
        if file.pixel_digest != made.pixel_digest:
            raise CatalogueError(NOT_PUT_BACK,
                                 hint="Make it again with the versions of the program and its libraries that it names.")
        return copy_verified(file.path, target, sha256=file.sha256, report=report, cancelled=cancelled)


def summarize(proofs: list[PrintFileProof]) -> list[str]:
    """What can be made again, what cannot and why, and how much room that is."""
    lines = [f"  {'can be made again' if proof.proven else 'keep'}  {display_path(proof.path)}"
             + (f": {proof.why}" if proof.why else f" ({data_size(proof.size)})") for proof in proofs]
    again = [proof for proof in proofs if proof.proven]
    size = data_size(sum(proof.size for proof in again))
    return [*lines, f"{counted(len(again), 'print file')} of {len(proofs)} can be made again, pixel for pixel: {size}."
                    " Nothing was removed."]


def summarize_freed(done: Freed) -> list[str]:
    """What was freed, what was left and why, and how to bring it back."""
    lines = [f"{counted(len(done.removed), 'print file')} removed, {data_size(done.bytes)} freed.",
             *skipped_lines(done)]
    return [*lines, f"To make them again: catalogue doubles --print-files --undo {done.undo}"] if done.undo else lines


def summarize_made_again(done: Freed) -> list[str]:
    """What was made again in its place, and what was not and why."""
    return [f"{counted(len(done.removed), 'print file')} made again and verified.", *skipped_lines(done)]
