"""Judge likenesses: a person's verdict on pairs of scans."""

from collections.abc import Sequence

from catalogue.likeness import service
from catalogue.likeness.service import Pair
from catalogue.records.database import Database, transaction

VERDICTS = {"confirmed": "confirmed, they show one piece", "rejected": "rejected, they are not the same",
            "": "open again"}


def judge_pairs(db: Database, likeness_ids: Sequence[int], verdict: str) -> tuple[Pair, ...]:
    """Keep one verdict (``confirmed``, ``rejected``, or "" to take it back) for all pairs, or for none of them.

    Raises NotFound for an unknown pair, Refused for an unknown verdict.
    """
    with transaction(db):
        return tuple(service.judge(db, likeness_id, verdict) for likeness_id in likeness_ids)


def summarize(done: Sequence[Pair]) -> list[str]:
    """The verdict of each pair, and what the two have to do with each other."""
    return [f"{one.id}: {VERDICTS[one.verdict]} ({one.evidence.relation.value})" for one in done]
