"""``catalogue alike``: which scans show the same artwork, with evidence; verdicts, tiles, pieces merged or split."""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import click

from catalogue.commands.artist import correction_lines
from catalogue.commands.lookup import find_piece
from catalogue.commands.printing import Printer, note, plain
from catalogue.commands.scan_lookup import scan_of_digest
from catalogue.commands.session import Session, SessionGroup
from catalogue.commands.watching import watched
from catalogue.dates import shown_day
from catalogue.errors import Refused, required
from catalogue.operations.correcting import merge_pieces, split_piece, undo_older_change
from catalogue.records.database import Database
from catalogue.records.likenesses import piece_titles
from catalogue.records.piece_changes import recent

if TYPE_CHECKING:
    from catalogue.likeness.service import Groups, GroupView, Pair


@click.group("alike", cls=SessionGroup, invoke_without_command=True)
@click.option("--unreviewed", is_flag=True, help="Only pairs without a verdict.")
@click.option("--as-is", is_flag=True, help="Do not compare new scans first.")
@click.option("--again", is_flag=True, help="Compare every scan again; verdicts are kept.")
def command(session: Session, unreviewed: bool, as_is: bool, again: bool) -> int:
    """List groups of scans that show the same artwork, with the evidence.

    New scans are compared first. ΔE00 is the colour difference: 1 is just visible. Exit 1 when pairs are waiting for a
    verdict.
    """
    if click.get_current_context().invoked_subcommand is not None:
        return 0
    from catalogue.likeness.service import groups

    as_is = as_is or session.home.settings.read_only
    db = session.looking() if as_is else session.existing()
    if not as_is:
        _update(db, session, again)
    listed = groups(db)
    shown = listed if not unreviewed else replace(
        listed, groups=tuple(g for g in listed.groups if g.unreviewed), ungrouped=listed.doubtful)
    names = piece_titles(db, {p for g in shown.groups for p in g.pieces if p is not None})
    values = plain(shown)
    values["apart"] = values.pop("ungrouped")     # its name in --json
    session.emit(values, lambda out: _print(out, shown, names))
    return int(bool(any(group.unreviewed for group in listed.groups) or listed.doubtful or listed.refused))


@command.command("confirm")
@click.argument("ids", nargs=-1, required=True, type=int)
@click.option("--under", type=int, metavar="PIECE",
              help="File all their scans under this piece: the pieces they are filed under now are merged into it.")
def confirm(session: Session, ids: tuple[int, ...], under: int | None) -> None:
    """Record that the pairs IDS show the same piece.

    A rejected pair must be reopened first.
    """
    if under is None:
        _judge(session, ids, "confirmed")
        return
    from catalogue.operations.judging import Filing, confirm_same_piece, summarize_verdict

    result = confirm_same_piece(session.database(), ids, Filing(under), seen="")
    session.emit(result, summarize_verdict(result))


@command.command("reject")
@click.argument("ids", nargs=-1, required=True, type=int)
def reject(session: Session, ids: tuple[int, ...]) -> None:
    """Record that the pairs IDS show different works.

    They are not proposed again. A confirmed pair must be reopened first.
    """
    _judge(session, ids, "rejected")


@command.command("reopen")
@click.argument("ids", nargs=-1, required=True, type=int)
def reopen(session: Session, ids: tuple[int, ...]) -> None:
    """Take back the verdicts on the pairs IDS."""
    _judge(session, ids, "")


@command.command("tiles")
@click.argument("piece", nargs=-1, required=True)
def tiles(session: Session, piece: tuple[str, ...]) -> int:
    """Show a map of PIECE's tiles in its master.

    It names missing areas, turned tiles, and how many were expected. Exit 1 when an area is missing or a tile is turned
    against the others.
    """
    from catalogue.likeness.tiling import tiling

    db = session.looking()
    chosen = find_piece(db, " ".join(piece))
    result = required(tiling(db, session.home, chosen), f"No tiles of {chosen.title} are known.",
                      "Compare new scans first: catalogue alike.")
    values = plain(result)
    values["places"] = values.pop("positions")     # its name in --json
    session.emit(values, result.text().split("\n"))
    return int(bool(result.coverage.missing or result.turned))


@command.command("merge")
@click.argument("keep", type=int)
@click.argument("gone", type=int)
def merge(session: Session, keep: int, gone: int) -> None:
    """Merge the piece GONE into the piece KEEP, both by number.

    Scans, orders and editions move there.
    """
    change = merge_pieces(session.database(), keep, gone)
    session.emit(change, correction_lines(change))


@command.command("split")
@click.argument("piece", type=int)
@click.argument("scans", nargs=-1, required=True)
@click.option("--title", required=True, help="Title of the new piece, by the same artist.")
def split(session: Session, piece: int, scans: tuple[str, ...], title: str) -> None:
    """File SCANS of PIECE under a new piece.

    PIECE is its number, SCANS are the first digits of their SHA-256.
    """
    db = session.database()
    change = split_piece(db, piece, [scan_of_digest(db, digits).id for digits in scans], title)
    session.emit(change, correction_lines(change))


@command.command("undo")
@click.argument("change", type=int)
def undo(session: Session, change: int) -> None:
    """Undo CHANGE, made by an earlier version of this program.

    CHANGE is a number listed by catalogue alike changes. Newer merges and splits: catalogue undo.
    """
    undone = undo_older_change(session.database(), change)
    session.emit(undone, [f"Undone: {undone.kind} {undone.detail}."])


@command.command("changes")
def changes(session: Session) -> None:
    """List merges and splits made by an earlier version, newest first.

    Newer ones: catalogue history.
    """
    made, dates = recent(session.looking()), session.home.settings.dates
    lines = [f"{c.id:>5}  {shown_day(c.at, dates)}  {c.kind}  {c.detail}" + ("  (undone)" if c.undone else "")
             for c in made]
    session.emit(made, lines or ["No merges and no splits yet."])


def _update(db: Database, session: Session, again: bool) -> None:
    from catalogue.operations.comparing import compare_scans, summarize

    with watched() as watch:
        result = compare_scans(db, session.home, again=again, **watch)
    if result.compared or result.unreadable:
        for line in summarize(result):
            note(line)


def _judge(session: Session, ids: Sequence[int], verdict: str) -> None:
    from catalogue.operations.judging import judge_pairs, summarize

    try:
        judged_pairs = judge_pairs(session.database(), ids, verdict, seen="" if verdict else None)
    except Refused as error:
        again = " ".join(map(str, ids))
        error.hint = f"{error.hint} To overrule a verdict, undo it first: catalogue alike reopen {again}".strip()
        raise
    session.emit([judged.pair for judged in judged_pairs], summarize(judged_pairs))


def _print(out: Printer, similar_groups: "Groups", names: dict[int, str]) -> None:
    for group in similar_groups.groups:
        _print_group(out, group, names)
    for heading, pairs in (("Similar, but kept separate:",
                            [(p, "; ".join(p.evidence.reasons)) for p in similar_groups.ungrouped]),
                           ("Pairs that contradict their group:", list(similar_groups.refused))):
        if pairs:
            out.print(heading)
        out.lines(f"  {_line(pair)}  {reason}" for pair, reason in pairs)
    if not (similar_groups.groups or similar_groups.ungrouped or similar_groups.refused):
        out.print("No similar scans.")


def _print_group(out: Printer, group: "GroupView", names: dict[int, str]) -> None:
    title = " + ".join(names.get(p, "?") for p in group.pieces) or "no piece yet"
    out.print(f"{title}: {len(group.members)} scans")
    if len(group.pieces) > 1:
        out.print(f"  filed as {len(group.pieces)} pieces: catalogue alike merge {group.pieces[0]} {group.pieces[1]}")
    for member in group.members:
        mark = "●" if member.sha256 == group.proposed else " "
        f = member.facts
        ppi = f"{f.ppi:.0f} ppi" if f.ppi else "ppi unknown"
        out.print(f"  {mark} {member.sha256[:12]}  {member.role:10}  {f.width} × {f.height}  {f.bits} bit  {ppi}")
    if group.reasons:
        out.print(f"  ● proposed as current master: {', '.join(group.reasons)}")
    # one line a scan, its best pair, and every open question; --json has all
    asked = set(group.questions)
    best: dict[int, Pair] = {}
    for pair in sorted(group.pairs, key=lambda p: (p.evidence.relation.value == "neighbouring tile", -p.evidence.sure)):
        best.setdefault(pair.a_scan_id, pair)
    for pair in group.pairs:
        if pair in asked or pair in best.values():
            out.print(f"  {_line(pair)}{'  ?' if pair in asked else ''}")


def _line(pair: "Pair") -> str:
    e = pair.evidence
    parts = [f"#{pair.id}", f"{pair.a_scan_id} {e.relation.value} {pair.b_scan_id}", f"{e.sure:.0%} certain"]
    if e.inliers:
        parts.append(f"{e.inliers} features")
    parts += [
        f"overlap {e.overlap_a:.0%}/{e.overlap_b:.0%}",
        f"turned {round(e.rotation, 2) + 0.0:.2f}°",
        f"agrees {e.correlation:.2f}",
    ]
    if e.delta_e_median is not None:
        parts.append(f"ΔE00 {e.delta_e_median:.1f} (90 %: {e.delta_e_high:.1f})")
    if e.detail_ratio:
        parts.append(f"{e.detail_ratio:.2f} × the detail")
    return "  ".join([*parts, pair.verdict]).rstrip()
