"""Judge likenesses: a person's verdict on pairs of scans."""

from collections.abc import Sequence
from dataclasses import dataclass

from catalogue.errors import Refused
from catalogue.likeness import service
from catalogue.likeness.service import Pair
from catalogue.records.database import Database, transaction

MEANINGS = {"confirmed": ": they show the same piece", "rejected": ": they are not the same", "": ""}


@dataclass(frozen=True, slots=True)
class Judged:
    """A pair with its verdict now, and the verdict it had ``before``."""

    pair: Pair
    before: str


def judge_pairs(db: Database, likeness_ids: Sequence[int], verdict: str, *,
                seen: str | None = None) -> tuple[Judged, ...]:
    """Keep one verdict (``confirmed``, ``rejected``, or "" to take it back) for all pairs, or for none of them.

    ``seen`` is the verdict that was shown of them, "" for none; None where nothing was shown. A pair that has this
    verdict already stays as it was judged.

    Raises NotFound for an unknown pair; Refused for an unknown verdict, and where a pair has another one than was seen.
    """
    with transaction(db):
        return tuple(_judge(db, likeness_id, verdict, seen) for likeness_id in likeness_ids)


def _judge(db: Database, likeness_id: int, verdict: str, seen: str | None) -> Judged:
    pair = service.pair(db, likeness_id)
    if pair.verdict == verdict:
        return Judged(pair, verdict)
    if seen is not None and pair.verdict != seen:
        raise Refused(f"Pair {pair.id} is now {pair.verdict or 'open'}, no longer {seen or 'open'}.",
                      hint="Look at it again.")
    return Judged(service.judge(db, likeness_id, verdict), pair.verdict)


def summarize(done: Sequence[Judged]) -> list[str]:
    """The verdict of each pair, and what the two have to do with each other."""
    return [_worded(pair) for pair in done]


def _worded(one: Judged) -> str:
    verdict, relation = one.pair.verdict, one.pair.evidence.relation.value
    if one.before == verdict:
        return f"Pair {one.pair.id} is {verdict or 'open'} already ({relation})."
    return f"Pair {one.pair.id} is {verdict or 'open again'}{MEANINGS[verdict]} ({relation})."
