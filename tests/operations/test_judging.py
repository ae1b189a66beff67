"""Verdicts on several pairs: all of them are kept, or none."""

import pytest

from catalogue.errors import NotFound
from catalogue.likeness.evidence import Evidence, Relation
from catalogue.operations.judging import judge_pairs, summarize
from catalogue.records import likenesses
from catalogue.records.database import open_database, transaction
from tests.operations.shops import Archive


def test_verdicts_are_kept_for_all_pairs_or_for_none(twins: tuple[Archive, Archive]) -> None:
    db = open_database(twins[0].home.database)
    with transaction(db):
        likenesses.keep(db, 1, 2, "re-scan", 0.9, Evidence(Relation.RESCAN, 0.9).to_json())
    (known,) = likenesses.listed(db)
    with pytest.raises(NotFound):
        judge_pairs(db, [known.id, known.id + 1], "rejected")
    assert likenesses.listed(db)[0].verdict == ""
    done = judge_pairs(db, [known.id], "rejected")
    assert summarize(done) == [f"{known.id}: rejected, they are not the same (re-scan)"]
    assert likenesses.listed(db)[0].verdict == "rejected"
    assert summarize(judge_pairs(db, [known.id], "")) == [f"{known.id}: open again (re-scan)"]
    db.close()
