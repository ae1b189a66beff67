"""``catalogue intake``: bring new scans from a folder into a store."""

import sys
import time
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from catalogue.commands.printing import Printer, answer, note, yes_or_no
from catalogue.commands.session import Session, SessionCommand
from catalogue.commands.watching import bar, interruptible, watched
from catalogue.errors import Ambiguous, NotFound
from catalogue.intake.capture import parse_notes
from catalogue.operations.wording import counted
from catalogue.progress import Cancelled, data_size, never_cancelled
from catalogue.reading.model import Reading
from catalogue.records import stores
from catalogue.records.database import Database
from catalogue.records.paths import display_path, escape_path
from catalogue.records.stores import Store
from catalogue.settings import Home

if TYPE_CHECKING:
    from catalogue.intake.proposals import Plan, Proposal
    from catalogue.operations.intake import ImportedScans

NOTHING = "Nothing was copied."


@click.command("intake", cls=SessionCommand)
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--into", "store_name", metavar="STORE", help="Where the scans go; otherwise the only primary store.")
@click.option("--also", multiple=True, metavar="STORE", help="Another store that gets a copy; may be repeated.")
@click.option("--artist", help="The artist of everything in the folder.")
@click.option("--piece", help="The piece that everything in the folder shows.")
@click.option("--note", "notes", multiple=True, metavar="NAME=VALUE",
              help="A capture note for everything, such as \"relief mm=2.5\"; may be repeated.")
@click.option("--yes", is_flag=True, help="Do not ask: import what is certain, skip the rest.")
@click.option("--dry-run", is_flag=True, help="Show what would be done, and stop.")
@click.option("--remove-sources", is_flag=True,
              help="Afterwards remove from FOLDER what enough stores hold, every copy verified.")
@click.option("--watch", is_flag=True, help="Watch for scans as they arrive and report bad tiles at once.")
def command(session: Session, folder: Path, store_name: str | None, also: tuple[str, ...],
            artist: str | None, piece: str | None, notes: tuple[str, ...], yes: bool, dry_run: bool,
            remove_sources: bool, watch: bool) -> int:
    """Bring new scans from FOLDER (a USB stick, a card, a download folder) into a store.

    Tiles are grouped, artist and piece proposed, and files named by the shop's rule. Nothing is copied until you agree,
    and every copy is read back and compared. FOLDER itself is left unchanged unless you ask
    for --remove-sources.
    """
    from catalogue.operations.intake import held_without_copy, import_scans, look_at_folder

    db, home = session.database(), session.home
    store = _store(db, store_name)
    for name in also:
        stores.by_name(db, name)  # an unknown one is told before anything is read
    with interruptible(NOTHING) as cancelled, bar() as report:
        known = _watch(db, home, folder, cancelled) if watch else {}
        plan = look_at_folder(db, home, folder, store.name, known=known, report=report,
                              cancelled=never_cancelled if watch else cancelled)
    if watch:
        session.stopped = ""  # Ctrl-C is how watching ends
    plan = _with_options(db, home, plan, artist, piece, notes)
    interactive = not (yes or dry_run or session.as_json) and sys.stdin.isatty()
    if not session.as_json:
        show_plan(plan, session)
    if interactive:
        plan = _ask_questions(db, home, plan, session)
    taking = [p for p in plan.proposals if p.ready]
    count, size = sum(len(p.items) for p in taking), sum(p.size for p in taking)
    held = sum(len(p.items) for p in plan.proposals if p.kind.value == "already held") if remove_sources else 0
    question = (f"Import {counted(count, 'file')} ({data_size(size)}) into {', '.join([store.name, *also])}?"
                if count else
                f"Remove {counted(held, 'file')} from {folder}, once every copy has been read back and compared?")
    scans: ImportedScans | None = None
    if not dry_run and (yes or interactive) and (count or held) and (yes or yes_or_no(
            question, default=bool(count), otherwise=NOTHING if count else "Nothing was removed.")):
        with watched("What was imported is kept; run it again for the rest.") as work:
            scans = import_scans(db, home, plan, also=also, remove_sources=remove_sources, **work)
    lacking = held_without_copy(db, plan, also)
    session.emit({"plan": as_data(plan), "outcome": scans.outcome if scans else None, "without_copy": lacking,
                  "likenesses": scans.likenesses if scans else 0}, lambda out: _show_outcome(out, plan, scans, lacking),
                 scans.trouble if scans else "")
    unfit = any(p.kind.value == "cannot be imported" for p in plan.proposals)
    return int(bool(unfit or lacking or not plan.ready or (scans and not scans.complete)))


def _watch(db: Database, home: Home, folder: Path, cancelled: Cancelled) -> dict[Path, Reading]:
    """Tell of every scan as it comes, until Ctrl-C; what was read serves the plan that follows."""
    from catalogue.intake import watching
    from catalogue.intake.proposals import apart_from_stores
    from catalogue.intake.subprocess_reading import read_in_subprocess

    folder = folder.expanduser().absolute()
    apart_from_stores(db, folder)
    watch = watching.Watch(folder, home.settings.ignore, home.settings.tile_overlap,
                           settle_seconds=watching.SETTLE, read=partial(read_in_subprocess, cancelled=cancelled),
                           cancelled=cancelled)
    note(f"Watching {folder}. Press Ctrl-C when everything is scanned.")
    while not cancelled():
        for news in watch.look():
            sign = {"warning": "! ", "unfit": "! ", "away": "! ", "alone": "? "}.get(news.kind, "")
            note(sign + news.text)
        time.sleep(1)
    return watch.readings


def _store(db: Database, name: str | None) -> Store:
    if name:
        return stores.by_name(db, name)
    primary = [s for s in stores.listed(db) if s.kind == "primary"]
    if not primary:
        raise NotFound("No primary store yet.", hint="Add one: catalogue store add NAME FOLDER.")
    if len(primary) > 1:
        raise Ambiguous("There are several primary stores.", hint=f"Use --into with one of: "
                        f"{', '.join(s.name for s in primary)}.")
    return primary[0]


def _with_options(db: Database, home: Home, plan: "Plan", artist: str | None, piece: str | None, notes: tuple[str, ...]
          ) -> "Plan":
    """What the options say, for every proposal."""
    from catalogue.intake.proposals import with_answers
    from catalogue.operations.intake import name_all

    if artist or piece:
        plan = name_all(db, home, plan, artist, piece)
    for index, proposal in enumerate(plan.proposals):
        if proposal.take and notes:
            plan = with_answers(db, home, plan, index, capture=dict(plan.proposals[index].capture) | parse_notes(notes))
    return plan


def _ask_questions(db: Database, home: Home, plan: "Plan", session: Session) -> "Plan":
    """Every open question put to the person; only what cannot be known is asked."""
    from catalogue.intake.proposals import with_answers

    for index, proposal in enumerate(plan.proposals):
        if not proposal.questions:
            continue
        note("")
        note(f"{proposal.kind}: {', '.join(i.arrival.path.name for i in proposal.items[:6])}")
        for question in proposal.questions:
            note(f"  {question}")
        artist = answer("  Artist (- to skip)", default=proposal.artist.value, otherwise=NOTHING)
        if artist.strip() == "-":
            plan = with_answers(db, home, plan, index, take=False)
            continue
        piece = answer("  Piece", default=proposal.piece.value, otherwise=NOTHING)
        plan = with_answers(db, home, plan, index, artist=artist, piece=piece)
        show_proposal(plan.proposals[index], session, index + 1)
    return plan


def show_plan(plan: "Plan", session: Session) -> None:
    """The plan for people, on standard output."""
    out = Printer()
    if not plan.proposals:
        out.print(f"No pictures in {plan.folder}.")
    for number, proposal in enumerate(plan.proposals, 1):
        show_proposal(proposal, session, number)
    out.lines(f"Skipped: {obstacle}" for obstacle in plan.obstacles)


def show_proposal(proposal: "Proposal", session: Session, number: int) -> None:
    """One proposal: what, whose, from where to where, warnings, questions."""
    out = Printer(to_errors=session.as_json)
    whose = " – ".join(filter(None, (proposal.artist.value, proposal.piece.value)))
    certainty = min(proposal.artist.certainty, proposal.piece.certainty)
    sure = f" ({certainty:.0%} certain: {proposal.piece.reason})" if proposal.ready else ""
    out.print(f"{number}. {proposal.kind}" + (f": {whose}{sure}" if whose else ""))
    out.lines(f"   {reason}" for reason in proposal.reasons)
    for item in proposal.items:
        name = display_path(escape_path(item.arrival.inside))
        out.print(f"   {name} → {display_path(item.target)}" if item.target else f"   {name}")
    if proposal.take and proposal.capture:
        out.print("   capture notes: " + ", ".join(f"{name} {value}" for name, value in proposal.capture))
    out.lines(f"   {row}" for row in proposal.map.splitlines())
    out.lines(f"   ! {warning}" for warning in proposal.warnings)
    out.lines(f"   ? {question}" for question in proposal.questions)


def _show_outcome(out: Printer, plan: "Plan", result: "ImportedScans | None", lacking: dict[str, int]) -> None:
    from catalogue.operations.intake import summarize, summarize_lacking

    if result is not None:
        out.lines(summarize(result))
        if result.likenesses != 0:
            out.print("Next: catalogue alike")
    elif any(p.take for p in plan.proposals):
        out.print(NOTHING)
    out.lines(summarize_lacking(lacking))


def as_data(plan: "Plan") -> list[dict[str, object]]:
    """The plan for programs: one entry a proposal."""
    return [{
        "kind": p.kind.value, "artist": p.artist, "piece": p.piece, "piece_id": p.piece_id, "ready": p.ready,
        "reasons": p.reasons, "warnings": p.warnings, "questions": p.questions, "map": p.map,
        "capture": dict(p.capture),
        "files": [{"source": i.arrival.path, "role": i.role, "target": i.target, "sha256": i.arrival.reading.sha256,
                   "bytes": i.arrival.reading.size} for i in p.items],
    } for p in plan.proposals]
