"""Verdicts on several pairs: all of them are kept, or none."""

import pytest

from catalogue.errors import NotFound, Refused
from catalogue.likeness.evidence import Evidence, Relation
from catalogue.operations.correcting import describe_piece, describe_scans, undo_statement
from catalogue.operations.judging import (
    MEANINGS,
    Filing,
    confirm_same_piece,
    judge_pairs,
    pieces_in_question,
    record_verdict,
    summarize,
    summarize_verdict,
)
from catalogue.records import likenesses, pieces, scans
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
    assert summarize(done) == [f"Pair {known.id} is rejected{MEANINGS['rejected']} (re-scan)."]
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
    with pytest.raises(Refused, match=f"Pair {known.id} is now confirmed"):
        judge_pairs(db, [known.id], "rejected", seen="")
    assert likenesses.listed(db)[0].verdict == "confirmed"
    (same,) = judge_pairs(db, [known.id], "confirmed", seen="")
    assert summarize([same]) == [f"Pair {known.id} is already confirmed (re-scan)."]
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


def test_pieces_with_facts_are_merged_only_where_a_person_says_which_stays(twins: tuple[Archive, Archive]) -> None:
    """The verdict is not kept either where the pieces stay two; one undo takes verdict and merge back."""
    db = open_database(twins[0].home.database)
    with transaction(db):
        likenesses.keep(db, 1, 2, "re-scan", 0.9, Evidence(Relation.RESCAN, 0.9).to_json())
    (known,) = likenesses.listed(db)
    one, two = pieces.every(db)
    for piece in (one, two):
        describe_piece(db, piece.id, {"year": f"19{piece.id:02}"})
    with pytest.raises(Refused, match="filed under 2 pieces"):
        confirm_same_piece(db, [known.id], seen="")
    assert likenesses.listed(db)[0].verdict == ""
    done = confirm_same_piece(db, [known.id], Filing(two.id), seen="", seen_pieces={one.id, two.id})
    assert [piece.id for piece in pieces.every(db)] == [two.id]
    assert len(scans.of_piece(db, two.id)) == 2
    assert summarize_verdict(done)[0] == summarize(done.judged)[0]
    assert summarize_verdict(done)[1].startswith(f"Pieces merged: {one.artist}: {one.title}")
    undo_statement(db, done.correction.id)
    assert [piece.id for piece in pieces.every(db)] == [one.id, two.id]
    assert likenesses.listed(db)[0].verdict == ""
    db.close()


def test_guessed_pieces_of_one_scan_each_become_one_without_a_question(twins: tuple[Archive, Archive]) -> None:
    """Of a part and its whole the whole's piece stays; a piece with facts stays before one without."""
    db = open_database(twins[0].home.database)
    evidence = Evidence(Relation.DETAIL, 0.9, overlap_a=1.0, overlap_b=0.1)
    with transaction(db):
        likenesses.keep(db, 1, 2, "detail of", 0.9, evidence.to_json())
    (known,) = likenesses.listed(db)
    part, whole = (scans.by_id(db, n) for n in (1, 2))
    assert part and whole
    done = confirm_same_piece(db, [known.id], seen="")
    assert [piece.id for piece in pieces.every(db)] == [whole.piece_id]
    undo_statement(db, done.correction.id)
    describe_piece(db, part.piece_id or 0, {"year": "1999"})
    confirm_same_piece(db, [known.id], seen="")
    assert [piece.id for piece in pieces.every(db)] == [part.piece_id]
    db.close()


def test_a_scan_alone_moves_where_the_rest_of_its_piece_shall_stay(twins: tuple[Archive, Archive]) -> None:
    db = open_database(twins[0].home.database)
    with transaction(db):
        likenesses.keep(db, 1, 2, "re-scan", 0.9, Evidence(Relation.RESCAN, 0.9).to_json())
    (known,) = likenesses.listed(db)
    first, second = (scans.by_id(db, n) for n in (1, 2))
    assert first and second and second.piece_id and first.piece_id
    for piece_id in (first.piece_id, second.piece_id):
        describe_piece(db, piece_id, {"year": "1999"})
    done = confirm_same_piece(db, [known.id], Filing(second.piece_id, scans_only=True), seen="")
    assert {scan.id for scan in scans.of_piece(db, second.piece_id)} == {1, 2}
    assert pieces.by_id(db, first.piece_id), "it is still known by what was said of it"
    undo_statement(db, done.correction.id)
    assert [scan.id for scan in scans.of_piece(db, first.piece_id)] == [1]
    db.close()


def test_the_command_files_all_under_the_piece_that_is_named(twins: tuple[Archive, Archive]) -> None:
    archive = twins[0]
    db = open_database(archive.home.database)
    with transaction(db):
        likenesses.keep(db, 1, 2, "re-scan", 0.9, Evidence(Relation.RESCAN, 0.9).to_json())
    (known,) = likenesses.listed(db)
    one, two = pieces.every(db)
    code, text = archive.call("alike", "confirm", known.id, "--under", two.id)
    assert code == 0
    assert f"Pieces merged: {one.artist}: {one.title} ({one.id}) into {two.artist}: {two.title} ({two.id})." in text
    assert [piece.id for piece in pieces.every(db)] == [two.id]
    assert archive.call("undo")[0] == 0
    assert [piece.id for piece in pieces.every(db)] == [one.id, two.id]
    assert likenesses.listed(db)[0].verdict == ""
    db.close()


def test_a_rejected_pair_that_its_names_file_together_is_said_to_be(twins: tuple[Archive, Archive]) -> None:
    db = open_database(twins[0].home.database)
    with transaction(db):
        likenesses.keep(db, 1, 2, "re-scan", 0.9, Evidence(Relation.RESCAN, 0.9).to_json())
    (known,) = likenesses.listed(db)
    assert not record_verdict(db, [known.id], "rejected", seen="").together
    first, second = (scans.by_id(db, n) for n in (1, 2))
    assert first and first.piece_id and second
    describe_scans(db, [second.sha256], piece_id=first.piece_id)
    piece = pieces.by_id(db, first.piece_id)
    assert piece
    done = record_verdict(db, [known.id], "rejected")
    assert summarize_verdict(done)[-1] == (
        f"Both are still filed under {piece.artist}: {piece.title}; one of them belongs elsewhere.")
    db.close()


def test_pieces_that_changed_meanwhile_are_not_merged(twins: tuple[Archive, Archive]) -> None:
    db = open_database(twins[0].home.database)
    with transaction(db):
        likenesses.keep(db, 1, 2, "re-scan", 0.9, Evidence(Relation.RESCAN, 0.9).to_json())
    (known,) = likenesses.listed(db)
    seen = {one.piece.id for one in pieces_in_question(db, [known.id])}
    first = scans.by_id(db, 1)
    assert first
    describe_scans(db, [first.sha256], new_piece=("Ada Quill", "Quay"))
    with pytest.raises(Refused, match="other pieces since"):
        confirm_same_piece(db, [known.id], seen="", seen_pieces=seen)
    assert likenesses.listed(db)[0].verdict == ""
    db.close()
