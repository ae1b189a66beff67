"""The job sheet: one printed page that takes an order line from the archive to the printer."""

import re
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from catalogue.dates import shown_day
from catalogue.errors import Refused
from catalogue.fixity.copying import copy_verified
from catalogue.ledger import repeat, values
from catalogue.ledger.fit import is_canvas
from catalogue.ledger.health import Copy, check_now, sound_copy
from catalogue.ledger.proposal import Proposal
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.reading.digests import sha256_of
from catalogue.records import orders, print_files, stores
from catalogue.records.database import Database
from catalogue.records.orders import Line
from catalogue.records.paths import display_path, native_path
from catalogue.settings import Home
from catalogue.sheets import print_file
from catalogue.sheets.drawing import drawing
from catalogue.sheets.layout import recipe_layout
from catalogue.sheets.page import WHOLE, picture_uri, render
from catalogue.sheets.pdf import as_pdf
from catalogue.sheets.writing import outside, safe_name, write_again
from catalogue.storage.atomic import opened, remove_leftover
from catalogue.untrusted import visible

BEYOND_THE_PICTURE = "Do not trim at the picture: the wrap and the fold lie beyond the finished size."
NOT_YET_CHECKED = "Check the file's SHA-256 against this sheet before printing."
NOTE_LENGTH = 240  # longer notes would push the page over its end; the whole is in the catalogue
DENSE_FROM = 1800  # characters: from here on smaller type keeps it to one page
_SOLVENTS = re.compile(r"varnish|lacquer|spray|solvent|coat|laminat", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class JobSheet:
    """One line's sheet in both forms. ``name`` serves as a file name."""

    name: str
    html: str
    text: str


@dataclass(frozen=True, slots=True)
class Written:
    """What was put into the job folder."""

    folder: Path
    files: tuple[Path, ...]


def job_sheet(db: Database, home: Home, line_id: int, *, checked: bool = False) -> JobSheet:
    """The sheet of a recorded line. ``checked`` says that its file was read and found intact just now.

    Raises NotFound.
    """
    line = orders.get_line(db, line_id)
    job = repeat.as_recorded(db, home, line_id)
    facts, notes, before = _facts(line, job), _notes(line), _before(job, home)
    made = next(iter(print_files.of_line(db, line_id)), None)
    file_facts = [*_file_facts(line, job, home, checked), *(print_file.facts(made) if made else [])]
    scan = job.printing.scan if job.printing else None
    cautions = [*(print_file.cautions(line, scan, made) if made else []), *_cautions(line, job, checked)]
    recipe = print_file.recipe_drawn(line, scan, made) if made else None
    drawn = recipe_layout(recipe, scan.width or 0, scan.height or 0) if recipe and scan else None
    today = shown_day(date.today().isoformat(), home.settings.dates)
    placed = shown_day(line.placed, home.settings.dates)
    turned = job.fit is not None and job.fit.turned
    width, height = (line.height_mm, line.width_mm) if turned else (line.width_mm, line.height_mm)
    if recipe:
        width, height = recipe.width_mm, recipe.height_mm
    part, turn = (drawn.part, drawn.turn) if drawn else (WHOLE, 0)
    text = _text(line, placed, [*facts, *notes], file_facts, before, cautions, today)
    dense = len(text) > DENSE_FROM
    page = render("job.html", dense=dense, line=line, piece=job.piece, facts=facts, notes=notes,
                  file_facts=file_facts, before=before, cautions=cautions, today=today, placed=placed, svg=drawing(
                      width, height, border_mm=line.border_mm, wrap_mm=line.wrap_mm, edge=line.edge,
                      picture=picture_uri(home, line.scan_sha256, 900, part, turn) if line.scan_sha256 else "",
                      placed=drawn.picture if drawn else None, marks=drawn.marks if drawn else (),
                      room_mm=(56.0, 64.0) if dense else (84.0, 100.0)))
    return JobSheet(safe_name(f"{line.number} line {line.id} {line.title}"), page, text)


def _facts(line: Line, job: Proposal) -> list[tuple[str, str]]:
    inner = (line.width_mm - 2 * line.border_mm, line.height_mm - 2 * line.border_mm)
    outer = (line.width_mm + 2 * line.wrap_mm, line.height_mm + 2 * line.wrap_mm)
    rows = [
        ("quantity", f"{line.quantity} {'print' if line.quantity == 1 else 'prints'}"
         f"{f', {line.handed} handed over' if line.partly else ''}"),
        ("edition numbers", line.numbers),
        ("finished size", values.shown_size(line.width_mm, line.height_mm)),
        ("border", f"{line.border_mm:g} mm white; picture {values.shown_size(*inner)}" if line.border_mm else ""),
        ("wrap", f"{line.wrap_mm:g} mm each side; canvas at least {values.shown_size(*outer)}" if line.wrap_mm else ""),
        ("edge", line.edge),
        ("medium", line.medium),
        ("printer profile", line.profile),
        ("resolution", f"{job.fit.ppi:.0f} ppi at this size, looks sharp from {job.fit.sharp_from_mm / 10:.0f} cm away"
         if job.fit else ""),
        ("crop", f"{job.fit.cropped:.0%} of the scan is cropped" if job.fit and job.fit.cropped else ""),
        ("buyer", line.buyer)]
    return [(name, text) for name, text in rows if text]


def _notes(line: Line) -> list[tuple[str, str]]:
    rows = [("print notes", _cut(line.settings)), ("notes", _cut(line.notes))]
    return [(name, text) for name, text in rows if text]


def _file_facts(line: Line, job: Proposal, home: Home, checked: bool) -> list[tuple[str, str]]:
    printing = job.printing
    if printing is None:
        return [("file", f"{line.scan_name or 'none on record'} (not in the catalogue)")] + (
            [("SHA-256", line.scan_sha256)] if line.scan_sha256 else [])
    scan, best = printing.scan, printing.best
    first = best or (printing.copies[0] if printing.copies else None)
    check = "just now: intact" if checked else (
        shown_day(printing.last_check, home.settings.dates) if printing.last_check else "never")
    rows = [
        ("file", display_path(first.file.path) if first else line.scan_name),
        ("store", _store(first) if first else "no file on record"),
        ("SHA-256", scan.sha256),
        ("last checked", check),
        ("scan", f"{scan.role}, {scan.width} × {scan.height} px, {scan.bits} bit {scan.photometric}, "
                 f"{scan.profile_name or 'no profile'}" if scan.width else scan.role)]
    return [(name, text) for name, text in rows if text]


def _store(copy: Copy) -> str:
    """The store and where it is mounted now, or why it cannot be opened."""
    return f"{copy.file.store}, {f'at {copy.file.root}' if copy.state == 'sound' else copy.state}"


def _before(job: Proposal, home: Home) -> list[tuple[str, str]]:
    last = job.last
    if last is None:
        return []
    other = f"another scan: {job.evidence.text}" if job.evidence else "another scan"
    same = {True: "the same scan, bit for bit", False: other, None: "not on record"}[job.same_bytes]
    rows = [
        ("last order", f"{last.number}, {shown_day(last.placed, home.settings.dates)}: "
                       f"{values.shown_prints(last.quantity, last.width_mm, last.height_mm)}, {last.medium}"
         .rstrip(", ")),
        ("printed from", f"{last.scan_name} ({same})" if last.scan_name else same),
        ("profile last time", last.profile if last.profile != job.line.profile else ""),
        ("print notes last time", _cut(last.settings) if last.settings != job.line.settings else ""),
        ("notes last time", _cut(last.notes))]
    return [(name, text) for name, text in rows if text]


def _cautions(line: Line, job: Proposal, checked: bool) -> list[str]:
    """What the person printing should know; handling and finishing are common practice, no source."""
    texts = [f"{caution.text} {caution.hint}".strip() for caution in job.cautions if not (
        caution.kind == "never checked" and checked)]
    if not checked:
        texts.append(NOT_YET_CHECKED)
    texts.append("Open the master read-only; save whatever you change under another name, never over it.")
    texts.append("Handle prints by their edges with clean, dry hands; a fresh surface scuffs.")
    if line.wrap_mm:
        texts.append(BEYOND_THE_PICTURE)
    elif not is_canvas(line.medium, line.wrap_mm):
        texts.append("Cut on a mat along a steel rule and keep your other hand behind the blade.")
    if _SOLVENTS.search(f"{line.medium} {line.settings} {line.notes} {line.edge}"):
        texts.append("Varnish and coatings: ventilate the room, no flames, wear gloves; follow the maker's safety "
                     "data sheet and your local rules.")
    return texts


def _cut(text: str) -> str:
    plain = " ".join(text.split())
    return plain if len(plain) <= NOTE_LENGTH else plain[:NOTE_LENGTH].rsplit(" ", 1)[0] + " … (more in the catalogue)"


def _text(line: Line, placed: str, facts: list[tuple[str, str]], file_facts: list[tuple[str, str]],
          before: list[tuple[str, str]], cautions: list[str], today: str) -> str:
    def block(rows: list[tuple[str, str]]) -> list[str]:
        return [f"{name + ':':<18}{text}" for name, text in rows]

    parts = [f"JOB SHEET  order {line.number}, {placed}, {line.status}", f"{line.artist}: {line.title}", "",
             *block(facts), "", *block(file_facts), ""]
    parts += [*block(before), ""] if before else []
    parts += [f"[ ] {caution}" for caution in cautions]
    return "\n".join(visible(part) for part in [*parts, "", f"made {today}", ""])


def write_job(db: Database, home: Home, line_id: int, *, folder: Path | None = None, copy_master: bool = False,
              pdf: bool = False, check: bool = False, report: Report = ignore_progress,
              cancelled: Cancelled = never_cancelled) -> Written:
    """Write a line's sheet into a job folder, with a verified copy of its master if asked.

    Without ``folder`` a folder of the catalogue's own, named after the order. Sheets of an earlier time are made again;
    a copy of the master that is there and intact is kept. ``check`` reads the file first (a copy does too).

    Raises:
        NotFound: no such line. Refused: the folder is in a store, or another file has the copy's name. Damaged:
            the master fails its check. CatalogueError: nothing to copy within reach, or a disk failed.
    """
    job = repeat.as_recorded(db, home, line_id)
    sound = sound_copy(job.printing) if copy_master or check else None
    if sound:
        check_now(db, *sound[:2], report=report, cancelled=cancelled)
    sheet = job_sheet(db, home, line_id, checked=sound is not None)
    target_folder = outside(folder or home.sheets / "jobs" / sheet.name, stores.listed(db))
    files = [write_again(target_folder / f"{sheet.name}.html", sheet.html),
             write_again(target_folder / f"{sheet.name}.txt", sheet.text)]
    if pdf:
        files.append(as_pdf(sheet.html, target_folder / f"{sheet.name}.pdf"))
    if copy_master and sound:
        scan, copy, master = sound
        target = target_folder / native_path(copy.file.path).rpartition("/")[2]
        files.append(_copied(master, target, scan.sha256, report, cancelled))
    return Written(target_folder, tuple(files))


def _copied(source: Path, target: Path, sha256: str, report: Report, cancelled: Cancelled) -> Path:
    if target.exists():
        if sha256_of(target, report=report, cancelled=cancelled) != sha256:
            raise Refused("Another file with the master's name is in the job folder; it is not overwritten.",
                          path=target)
        with opened(target) as entry:
            remove_leftover(entry)  # a kill between the two names of a whole copy leaves both
        return target
    copy_verified(source, target, sha256=sha256, report=report, cancelled=cancelled)
    return target
