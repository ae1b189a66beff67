"""Intake: look at a folder of new scans, then copy, verify and record what is ready."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from catalogue.errors import CatalogueError
from catalogue.intake import applying, guessing, proposals
from catalogue.intake.applying import Outcome
from catalogue.intake.arrivals import INLINE_BYTES
from catalogue.intake.proposals import SURE, Kind, Plan, Proposal
from catalogue.intake.removing import Skipped
from catalogue.intake.similarity import keep_links, likeness_of
from catalogue.operations.upkeep import Upkeep, count_and_back_up
from catalogue.operations.wording import counted
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.reading.model import Reading
from catalogue.records import files, pieces, stores
from catalogue.records.database import Database
from catalogue.records.paths import display_path, escape_path
from catalogue.settings import Home
from catalogue.untrusted import shell_word


@dataclass(frozen=True, slots=True)
class ImportedScans:
    """What became of a folder of new scans.

    ``likenesses``: how many were found with what is held; None if many scans wait to be compared. ``removing``: whether
    the folder's files were to go. ``lacking``: masters without enough copies now, by kind of finding. ``trouble``: what
    failed besides (recording, comparing, counting copies, today's backup), or "".
    """

    folder: Path
    outcome: Outcome
    likenesses: int | None
    removing: bool
    lacking: dict[str, int]
    trouble: str = ""
    folder_gone: bool = False

    @property
    def complete(self) -> bool:
        """Whether nothing was left behind, and today has its backup."""
        return not (self.trouble or self.outcome.skipped or self.outcome.not_removed or self.outcome.stopped)


def look_at_folder(db: Database, home: Home, folder: Path, store: str, *, known: Mapping[Path, Reading] | None = None,
                   inline_bytes: int = INLINE_BYTES, report: Report = ignore_progress,
                   cancelled: Cancelled = never_cancelled) -> Plan:
    """Say what to do with a folder of new scans. Changes nothing.

    ``known`` are readings made before; files of up to ``inline_bytes`` bytes are read in this process.

    Raises: as :func:`catalogue.intake.proposals.propose`; NotFound for an unknown store.
    """
    return proposals.propose(db, home, folder, stores.by_name(db, store), likeness=likeness_of(db, home), known=known,
                             inline_bytes=inline_bytes, report=report, cancelled=cancelled)


def name_all(db: Database, home: Home, plan: Plan, artist: str | None, piece: str | None) -> Plan:
    """The plan where a person named the artist or the piece of the whole folder.

    A file that is on record already stays filed as it is, with a warning; a picture that is surely that of another
    piece becomes a question.
    """
    for index, proposal in enumerate(plan.proposals):
        if not proposal.take:
            continue
        if not _shows_another(db, proposal, artist, piece):
            plan = proposals.with_answers(db, home, plan, index, artist=artist, piece=piece)
            continue
        known = f"{proposal.artist.value}: {proposal.piece.value}"
        doubted = replace(proposal, warnings=(*proposal.warnings, f"on record as {known}, and stays filed there")) \
            if proposal.kind is Kind.HELD_ELSEWHERE else \
            replace(proposal, doubts=(*proposal.doubts, f"The picture is on record as {known}. Which piece is it?"))
        plan = replace(plan, proposals=(*plan.proposals[:index], doubted, *plan.proposals[index + 1:]))
    return plan


def _shows_another(db: Database, proposal: Proposal, artist: str | None, piece: str | None) -> bool:
    """Whether the picture itself, not its name or tags, surely shows a piece that is not the one named."""
    shown = pieces.by_id(db, proposal.piece_id) if proposal.piece_id is not None else None
    if shown is None or proposal.piece.certainty < SURE or proposal.piece.reason not in proposal.reasons:
        return False
    if piece is not None:
        return guessing.known_piece(db, artist or shown.artist, piece) != shown.id
    named = pieces.artist_named(db, artist) if artist is not None else None
    return artist is not None and (named is None or named.id != shown.artist_id)


def import_scans(db: Database, home: Home, plan: Plan, *, also: Sequence[str] = (), remove_sources: bool = False,
            report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> ImportedScans:
    """Import what is ready, compare it with what is held, count copies, back the catalogue up once a day.

    ``also`` names further stores that get a copy. With ``remove_sources`` the folder's files go once enough stores
    hold them.

    Raises: as :func:`catalogue.intake.applying.apply`; NotFound for an unknown store.
    """
    outcome = applying.apply(db, home, plan, also=[stores.by_name(db, name) for name in also],
                             delete_sources=remove_sources, report=report, cancelled=cancelled)
    likenesses, trouble = None, outcome.trouble
    try:
        likenesses = keep_links(db, home, outcome.taken, report, cancelled)
    except (CatalogueError, OSError) as error:  # it must not hide what was taken in
        trouble = f"{trouble} The new scans could not be compared with what is held. {error}".strip()
    after = count_and_back_up(db, home, report=report, cancelled=cancelled) if outcome.taken else Upkeep({})
    return ImportedScans(plan.folder, outcome, likenesses, remove_sources, after.lacking,
                   " ".join(filter(None, (trouble, after.trouble))),
                   bool(outcome.skipped) and not plan.folder.is_dir())


def held_without_copy(db: Database, plan: Plan, also: Sequence[str]) -> dict[str, int]:
    """How many files of the folder that are held already each store named in ``also`` lacks, if any.

    An earlier run may have ended between the first copy of a scan and the next.
    Raises: NotFound: no such store.
    """
    held = {item.arrival.reading.sha256 for p in plan.proposals if p.kind is Kind.HELD for item in p.items}
    stores_of = {sha256: {copy.store for copy in files.present_files(db, sha256)} for sha256 in held}
    lacking = {stores.by_name(db, name).name: sum(name not in where for where in stores_of.values() if where)
               for name in also}
    return {name: count for name, count in lacking.items() if count}


def summarize_lacking(lacking: Mapping[str, int]) -> list[str]:
    """What :func:`held_without_copy` found, each with the command that copies it."""
    return [f"{counted(count, 'file')} already held {'is' if count == 1 else 'are'} not in {name}. To copy them: "
            f"catalogue copy --to {shell_word(name)}" for name, count in lacking.items()]


def summarize(result: ImportedScans) -> list[str]:
    """What was imported and what was not, what was removed from the folder and what stayed, each with the reason."""
    outcome, folder = result.outcome, display_path(escape_path(str(result.folder)))
    lines = [] if result.removing and not outcome.taken else [
        f"{counted(len({item.source for item in outcome.taken}), 'file')} imported, each read back and compared."]
    if sidecars := sum(item.sidecars for item in outcome.taken):
        lines.append(f"{counted(sidecars, 'sidecar')} copied.")
    lines += [f"  not imported: {_why(item)}" for item in outcome.skipped]
    if result.likenesses is None:
        lines.append("Many scans are waiting to be compared.")
    elif result.likenesses:
        lines.append(f"{counted(result.likenesses, 'likeness', 'likenesses')} found with scans on record.")
    if outcome.removed:
        lines.append(f"{counted(len(outcome.removed), 'file')} removed from {folder}:")
        lines += [f"  {display_path(escape_path(path.name))}" for path in outcome.removed]
    lines += [f"  not removed: {_why(item)}" for item in outcome.not_removed]
    if result.folder_gone:
        lines.append(f"{folder} is no longer there. Connect it, and import it again: what is held already is skipped.")
    elif not outcome.removed:
        lines.append(f"Nothing was removed from {folder}." if result.removing else f"{folder} is unchanged.")
    return [*lines, *filter(None, [result.trouble])]


def _why(item: Skipped) -> str:
    return f"{display_path(escape_path(item.path.name))}: {item.why}"
