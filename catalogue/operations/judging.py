"""Verdicts on likenesses: a person's verdict on pairs of scans, and filing all scans of one piece."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from catalogue.errors import Refused, sentence
from catalogue.indexing import corrections
from catalogue.indexing.corrections import Correction, correction
from catalogue.likeness import merging, service
from catalogue.likeness.service import Pair
from catalogue.operations.wording import counted
from catalogue.records import editions, orders, pieces, scans
from catalogue.records.database import Database, transaction
from catalogue.records.pieces import Piece

MEANINGS = {"confirmed": ": they show the same piece", "rejected": ": they are not the same", "": ""}


@dataclass(frozen=True, slots=True)
class Judged:
    """A pair with its verdict now, and the verdict it had ``before``."""

    pair: Pair
    before: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """A verdict as one statement: its pairs, and in ``filed`` what was filed with it, in words. ``correction.id``
    undoes all of it. ``together``: the piece under which scans of a rejected pair are filed all the same, by their
    names or a person."""

    judged: tuple[Judged, ...]
    correction: Correction
    together: str = ""
    filed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PieceInQuestion:
    """A piece under which scans of some pairs are filed: ``scans``, by digest. ``others``: how many more it has;
    ``lines`` and ``editions``: order lines and editions; ``stated``: whether a person said something of it."""

    piece: Piece
    scans: tuple[str, ...]
    whole: bool     # one of these shows more of the original than a scan filed elsewhere
    others: int
    lines: int
    editions: int
    stated: bool

    @property
    def has_facts(self) -> bool:
        """Whether it has facts that no scan or file name could restore."""
        return bool(self.stated or self.lines or self.editions)


@dataclass(frozen=True, slots=True)
class Filing:
    """Which piece stays, by its number, and whether all of the others moves there, or the ``scans_only``."""

    keep_id: int
    scans_only: bool = False


def judge_pairs(db: Database, likeness_ids: Sequence[int], verdict: str, *,
                seen: str | None = None) -> tuple[Judged, ...]:
    """Keep one verdict (``confirmed``, ``rejected``, or "" to take it back) for all pairs, or for none of them.

    ``seen`` is the verdict that was shown of them, "" for none; None if nothing was shown. A pair that has this verdict
    already stays as it was judged.

    Raises NotFound for an unknown pair; Refused for an unknown verdict, and where a pair has another one than was seen.
    """
    with transaction(db):
        return tuple(_judge(db, likeness_id, verdict, seen) for likeness_id in likeness_ids)


def record_verdict(db: Database, likeness_ids: Sequence[int], verdict: str, *, seen: str | None = None) -> Verdict:
    """:func:`judge_pairs` as a statement that can be undone by its number. Raises as that does."""
    with correction(db) as made:
        judged = judge_pairs(db, likeness_ids, verdict, seen=seen)
        if any(judged_pair.before != verdict for judged_pair in judged):
            made.say(_pairs_said(judged))
    return Verdict(judged, made.result(), _filed_together(db, judged) if verdict == "rejected" else "")


def _filed_together(db: Database, judged: Sequence[Judged]) -> str:
    for judged_pair in judged:
        a, b = scans.by_id(db, judged_pair.pair.a_scan_id), scans.by_id(db, judged_pair.pair.b_scan_id)
        if a and b and a.piece_id is not None and a.piece_id == b.piece_id:
            piece = pieces.get_piece(db, a.piece_id)
            return f"{piece.artist}: {piece.title}"
    return ""


def confirm_same_piece(db: Database, likeness_ids: Sequence[int], filing: Filing | None = None, *,
                       seen: str | None = None, seen_pieces: Collection[int] | None = None) -> Verdict:
    """State that the scans of these pairs show one piece, and file them all under it; one statement, or nothing.

    Without ``filing`` the piece that stays is :func:`proposed_filing`'s. ``seen_pieces``: the pieces that were shown. A
    scan that is filed nowhere follows the confirmed pairs. Raises NotFound; Refused if a person must choose the piece,
    where both have editions, and where verdict or pieces are others than were seen.
    """
    with correction(db) as made:
        judged = judge_pairs(db, likeness_ids, "confirmed", seen=seen)
        if any(pair.before != "confirmed" for pair in judged):
            made.say(_pairs_said(judged))
        filed = pieces_in_question(db, likeness_ids)
        if seen_pieces is not None and not {each.piece.id for each in filed} <= set(seen_pieces):
            raise Refused("These scans have been filed under other pieces since.", hint="Look at them again.")
        chosen = filing or proposed_filing(filed)
        if chosen is None and len(filed) > 1:
            raise Refused(f"They are filed under {counted(len(filed), 'piece')}: "
                          + ", ".join(f"{each.piece.title} ({each.piece.id})" for each in filed) + ".",
                          hint="Say which one to keep.")
        changes = []
        if chosen is not None:
            pieces.get_piece(db, chosen.keep_id)
            for other in filed:
                if other.piece.id == chosen.keep_id:
                    continue
                change = corrections.set_scans(db, other.scans, piece_id=chosen.keep_id) if chosen.scans_only \
                    else merging.merge(db, chosen.keep_id, other.piece.id)
                made.say(change.detail)
                changes.append(change.detail)
    return Verdict(judged, made.result(), filed=tuple(filter(None, changes)))


def pieces_in_question(db: Database, likeness_ids: Sequence[int]) -> tuple[PieceInQuestion, ...]:
    """The pieces under which the scans of these pairs are filed, in the order of the pairs. Raises NotFound."""
    pairs = [service.pair(db, likeness_id) for likeness_id in likeness_ids]
    known = {i: scan for pair in pairs for i in (pair.a_scan_id, pair.b_scan_id) if (scan := scans.by_id(db, i))}
    wholes = {pair.b_scan_id for pair in pairs if pair.evidence.relation.partial
              and pair.evidence.overlap_a > pair.evidence.overlap_b}
    held: dict[int, list[int]] = {}
    for scan in known.values():
        if scan.piece_id is not None:
            held.setdefault(scan.piece_id, []).append(scan.id)
    return tuple(
        PieceInQuestion(pieces.get_piece(db, piece_id), tuple(known[i].sha256 for i in ids),
                        any(i in wholes for i in ids), len(scans.of_piece(db, piece_id)) - len(ids),
                        len(orders.lines_of_piece(db, piece_id)), len(editions.of_piece(db, piece_id)),
                        pieces.has_stated_facts(db, piece_id))
        for piece_id, ids in held.items())


def proposed_filing(filed: Sequence[PieceInQuestion]) -> Filing | None:
    """Which of several pieces stays where nobody needs to be asked: at most one has facts of its own, and the others
    have no scan but those in question, which might be the only ones that are filed wrongly. None otherwise."""
    if len(filed) < 2:
        return None
    stays = max(filed, key=lambda each: (each.has_facts, each.others > 0, each.whole, len(each.scans), -each.piece.id))
    if any(each is not stays and (each.has_facts or each.others) for each in filed):
        return None
    return Filing(stays.piece.id)


def _judge(db: Database, likeness_id: int, verdict: str, seen: str | None) -> Judged:
    pair = service.pair(db, likeness_id)
    if pair.verdict == verdict:
        return Judged(pair, verdict)
    if seen is not None and pair.verdict != seen:
        raise Refused(f"Pair {pair.id} is now {pair.verdict or 'open'}, no longer {seen or 'open'}.",
                      hint="Look at it again.")
    return Judged(service.judge(db, likeness_id, verdict), pair.verdict)


def _pairs_said(judged: Sequence[Judged]) -> str:
    verdict = judged[0].pair.verdict or "open again"
    return f"pair {judged[0].pair.id} {verdict}" if len(judged) == 1 else f"{counted(len(judged), 'pair')} {verdict}"


def summarize(judged: Sequence[Judged]) -> list[str]:
    """The verdict of each pair, and what it means."""
    return [_worded(pair) for pair in judged]


def summarize_verdict(verdict: Verdict) -> list[str]:
    """The verdict on a pair, or on how many pairs, and what was filed with it."""
    meaning = MEANINGS[verdict.judged[0].pair.verdict]
    words = summarize(verdict.judged) if len(verdict.judged) == 1 else [
        f"{_pairs_said(verdict.judged).capitalize()}{meaning}."]
    filed = [sentence("; ".join(verdict.filed))] if verdict.filed else []
    together = verdict.together and f"Both are still filed under {verdict.together}; one of them belongs elsewhere."
    return [*words, *filed, *filter(None, [together])]


def _worded(judged: Judged) -> str:
    verdict, relation = judged.pair.verdict, judged.pair.evidence.relation.value
    if judged.before == verdict:
        return f"Pair {judged.pair.id} is already {verdict or 'open'} ({relation})."
    return f"Pair {judged.pair.id} is {verdict or 'open again'}{MEANINGS[verdict]} ({relation})."
