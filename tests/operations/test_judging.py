"""Verdicts on several pairs: all of them are kept, or none."""

import pytest

from catalogue.errors import NotFound, Refused
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
    assert summarize(done) == [f"Pair {known.id} is rejected: they are not the same (re-scan)."]
    assert likenesses.listed(db)[0].verdict == "rejected"
    assert summarize(judge_pairs(db, [known.id], "")) == [f"Pair {known.id} is open again (re-scan)."]
    db.close()


def test_a_verdict_given_meanwhile_is_not_overwritten(twins: tuple[Archive, Archive]) -> None:
    """Both seats saw the pair open; the second judges otherwise than the first."""
    db, other = (open_database(twins[0].home.database) for _ in range(2))
    with transaction(db):
        likenesses.keep(db, 1, 2, "re-scan", 0.9, Evidence(Relation.RESCAN, 0.9).to_json())
    (known,) = likenesses.listed(db)
    judge_pairs(other, [known.id], "confirmed", seen="")
    judged = likenesses.listed(db)[0].judged
    with pytest.raises(Refused, match=f"Pair {known.id} is now confirmed, no longer open"):
        judge_pairs(db, [known.id], "rejected", seen="")
    assert likenesses.listed(db)[0].verdict == "confirmed"
    (same,) = judge_pairs(db, [known.id], "confirmed", seen="")
    assert summarize([same]) == [f"Pair {known.id} is confirmed already (re-scan)."]
    assert likenesses.listed(db)[0].judged == judged, "what was stated stays stated then"
    judge_pairs(db, [known.id], "rejected", seen="confirmed")
    assert likenesses.listed(db)[0].verdict == "rejected"
    db.close()
    other.close()


def test_the_command_overrules_no_verdict_that_it_has_not_shown(twins: tuple[Archive, Archive],
                                                                capsys: pytest.CaptureFixture[str]) -> None:
    archive = twins[0]
    db = open_database(archive.home.database)
    with transaction(db):
        likenesses.keep(db, 1, 2, "re-scan", 0.9, Evidence(Relation.RESCAN, 0.9).to_json())
    (known,) = likenesses.listed(db)
    assert archive.call("alike", "reject", known.id)[0] == 0
    assert archive.call("alike", "confirm", known.id)[0] == 2
    assert f"catalogue alike reopen {known.id}" in capsys.readouterr().err
    assert likenesses.listed(db)[0].verdict == "rejected"
    assert archive.call("alike", "reopen", known.id)[0] == archive.call("alike", "confirm", known.id)[0] == 0
    assert likenesses.listed(db)[0].verdict == "confirmed"
    db.close()


def test_the_number_of_a_pair_never_names_another(twins: tuple[Archive, Archive]) -> None:
    """Compared anew, pairs that nobody judged are found again under new numbers: an old list judges nothing else."""
    db = open_database(twins[0].home.database)
    evidence = Evidence(Relation.RESCAN, 0.9).to_json()
    with transaction(db):
        likenesses.keep(db, 1, 2, "re-scan", 0.9, evidence)
    (known,) = likenesses.listed(db)
    for _ in range(2):
        with transaction(db):
            likenesses.forget_compared(db)
        assert not likenesses.listed(db)
    with transaction(db):
        likenesses.keep(db, 2, 1, "re-scan", 0.8, evidence)
    (again,) = likenesses.listed(db)
    assert again.id > known.id
    with pytest.raises(NotFound):
        judge_pairs(db, [known.id], "rejected", seen="")
    db.close()


def test_a_judged_pair_stays_as_it_was_judged(twins: tuple[Archive, Archive]) -> None:
    """What is found later is no reason to show other evidence than the verdict was given on."""
    db = open_database(twins[0].home.database)
    with transaction(db):
        likenesses.keep(db, 1, 2, "re-scan", 0.9, Evidence(Relation.RESCAN, 0.9).to_json())
    (known,) = likenesses.listed(db)
    judge_pairs(db, [known.id], "confirmed", seen="")
    judged = likenesses.listed(db)
    with transaction(db):
        likenesses.keep(db, 2, 1, "look-alike", 0.3, Evidence(Relation.LOOK_ALIKE, 0.3).to_json())
    assert likenesses.listed(db) == judged
    db.close()
