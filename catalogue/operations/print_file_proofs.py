"""Print files in a store that need not be kept: each is proven by computing it again from its master and recipe."""

from dataclasses import dataclass

from catalogue.errors import CatalogueError
from catalogue.indexing.stores import opened_store
from catalogue.intake.removing import digest_of
from catalogue.operations.print_comparison import opened_again
from catalogue.operations.wording import counted
from catalogue.print_files.recipe import from_json
from catalogue.progress import Cancelled, Progress, Report, data_size, ignore_progress, never_cancelled
from catalogue.records import print_files, stores
from catalogue.records.database import Database
from catalogue.records.paths import display_path, native_path
from catalogue.records.print_files import PrintFile, StoredPrintFile
from catalogue.records.stores import Store
from catalogue.settings import Home
from catalogue.storage.folders import open_entry


@dataclass(frozen=True, slots=True)
class PrintFileProof:
    """A print file in a store. ``why`` says why it could not be proven that it can be made again; "" where it was."""

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
    """Compute every print file that lies in a store again and compare the pixels. Changes nothing.

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
        return "its bytes are not those on record"
    with opened_again(db, home, from_json(made.recipe), cancelled=cancelled) as sheet:
        for _ in sheet.bands():
            pass        # the digest follows the rows as they go by
    return "" if sheet.digest.hexdigest() == made.pixel_digest else "made again, its pixels differ"


def summarize(proofs: list[PrintFileProof]) -> list[str]:
    """What can be made again, what cannot and why, and how much room that is."""
    lines = [f"  {'can be made again' if proof.proven else 'keep'}  {display_path(proof.path)}"
             + (f": {proof.why}" if proof.why else f" ({data_size(proof.size)})") for proof in proofs]
    again = [proof for proof in proofs if proof.proven]
    size = data_size(sum(proof.size for proof in again))
    return [*lines, f"{counted(len(again), 'print file')} of {len(proofs)} can be made again, pixel for pixel: {size}."
                    " Nothing was removed."]
