"""Statements, guesses and likeness in any order: what a person said always holds, and what is kept is what computing
everything anew would give."""

from contextlib import closing, suppress
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from catalogue.errors import CatalogueError
from catalogue.indexing import corrections
from catalogue.likeness import merging
from catalogue.likeness.evidence import Evidence, Relation
from catalogue.likeness.service import judge
from catalogue.reading.model import Picture, Reading
from catalogue.records import (
    guesses,
    history,
    likenesses,
    orders,
    pieces,
    replay,
    scans,
    stated_facts,
)
from catalogue.records.database import open_database, transaction
from catalogue.records.guesses import Guess

ARTISTS = ("Quill", "Ada Quill", "Bo Ashe", "Ashe", "森下千波", "森下 千波", "")
TITLES = ("Pier", "Mill", "Dunes", "")
EVIDENCE = Evidence(Relation.RESCAN, 0.9).to_json()
a_guess = st.builds(Guess, st.sampled_from(ARTISTS), st.sampled_from(TITLES), st.sampled_from(("", "1999", "2003")),
                    role=st.sampled_from(("master", "tile", "unsorted")))
index = st.integers(0, 7)


@pytest.mark.parametrize(("stated", "guessed"), [("森下 千波", "森下千波"), ("森下千波", "森下 千波")])
@pytest.mark.parametrize("first", [True, False])
def test_a_scan_guessed_under_the_other_spelling_of_a_stated_name_is_that_artists(
        stated: str, guessed: str, first: bool) -> None:
    """The order book writes the space in a Japanese name, the folders are read without it, or the other way round."""
    with closing(open_database(Path(":memory:"))) as db:
        def say() -> None:
            with transaction(db):
                pieces.piece_called(db, pieces.artist_called(db, stated).id, "朝霧")

        if first:
            say()
        with transaction(db):
            picture = Picture(100, 100, 16, "uint", 3, "RGB", "none", "strips")
            scan = scans.save_reading(db, Reading("x.tif", 1, 1, f"{1:064x}", picture=picture))
            guesses.save(db, scan, Guess(guessed, "朝霧", "", role="master"))
        if not first:
            say()
        (piece,) = pieces.every(db)
        assert {artist.name for artist in pieces.artists_matching(db, "森下千波")} == {piece.artist}
        assert [known.id for known in scans.of_piece(db, piece.id)] == [scan]


class Facts(RuleBasedStateMachine):
    """Random statements, guesses, pairs and undoings over a few names that get in each other's way."""

    def __init__(self) -> None:
        super().__init__()
        self.db = open_database(Path(":memory:"))
        self.scans: list[int] = []

    def teardown(self) -> None:
        self.db.close()

    def piece(self, number: int) -> int | None:
        known = [p.id for p in pieces.every(self.db)]
        return known[number % len(known)] if known else None

    def try_to(self, work: object, *given: object, **named: object) -> None:
        """A refusal is an answer too; that it changes nothing is the transaction's part."""
        with suppress(CatalogueError):
            work(self.db, *given, **named)  # type: ignore[operator]

    @rule(guess=a_guess)
    def scanned(self, guess: Guess) -> None:
        with transaction(self.db):
            number = len(self.scans) + 1
            picture = Picture(100 * number, 100, 16, "uint", 3, "RGB", "none", "strips")
            self.scans.append(scans.save_reading(self.db, Reading("x.tif", 1, 1, f"{number:064x}", picture=picture)))
            guesses.save(self.db, self.scans[-1], guess)

    @precondition(lambda self: self.scans)
    @rule(number=index, guess=a_guess)
    def guessed_anew(self, number: int, guess: Guess) -> None:
        with transaction(self.db):
            guesses.save(self.db, self.scans[number % len(self.scans)], guess)

    @precondition(lambda self: len(self.scans) > 1)
    @rule(one=index, other=index, sure=st.booleans())
    def alike(self, one: int, other: int, sure: bool) -> None:
        a, b = self.scans[one % len(self.scans)], self.scans[other % len(self.scans)]
        if a != b:
            with transaction(self.db):
                likenesses.keep(self.db, a, b, "re-scan", 0.99, EVIDENCE, files_together=sure)

    @rule(number=index, verdict=st.sampled_from(("confirmed", "rejected", "")))
    def judged(self, number: int, verdict: str) -> None:
        rows = likenesses.listed(self.db)
        if rows:
            judge(self.db, rows[number % len(rows)].id, verdict)

    @rule(number=index, said=st.dictionaries(st.sampled_from(("year", "series", "notes", "title")),
                                             st.sampled_from(("", "1999", "Pier", "Weir"))),
          artist=st.sampled_from((None, *ARTISTS[:4])))
    def piece_stated(self, number: int, said: dict[str, object], artist: str | None) -> None:
        if (piece := self.piece(number)) is not None:
            self.try_to(corrections.set_piece, piece, said, artist=artist)

    @precondition(lambda self: self.scans)
    @rule(scan=index, number=index, role=st.sampled_from((None, "master", "reference")))
    def scan_stated(self, scan: int, number: int, role: str | None) -> None:
        known = scans.by_id(self.db, self.scans[scan % len(self.scans)])
        assert known is not None
        self.try_to(corrections.set_scans, [known.sha256], role=role, piece_id=self.piece(number))

    @rule(number=index, scan=index)
    def split(self, number: int, scan: int) -> None:
        if (piece := self.piece(number)) is not None and (mine := scans.of_piece(self.db, piece)):
            self.try_to(merging.split, piece, [mine[scan % len(mine)].id], "Weir")

    @rule(one=index, other=index)
    def merged(self, one: int, other: int) -> None:
        if (keep := self.piece(one)) is not None:
            self.try_to(merging.merge, keep, self.piece(other))

    @rule(one=index, other=index)
    def artists_merged(self, one: int, other: int) -> None:
        known = pieces.artists_whole(self.db)
        if known:
            self.try_to(corrections.merge_artists, known[one % len(known)].id, known[other % len(known)].id)

    @rule(number=index, name=st.sampled_from(ARTISTS))
    def artist_renamed(self, number: int, name: str) -> None:
        known = pieces.artists_whole(self.db)
        if known:
            self.try_to(corrections.rename_artist, known[number % len(known)].id, name)

    @rule(number=index)
    def ordered(self, number: int) -> None:
        if (piece := self.piece(number)) is not None:
            with transaction(self.db):
                order = orders.save(self.db, f"N{number}", "2024-01-01")
                orders.add_line(self.db, order, orders.NewLine(piece, 300, 200, 1))

    @rule(number=index)
    def undone(self, number: int) -> None:
        made = history.statements(self.db)
        if made:
            self.try_to(corrections.undo, made[number % len(made)].id)

    def everything(self) -> list[tuple[object, ...]]:
        return [tuple(row) for sql in (
            "SELECT * FROM artist ORDER BY id", "SELECT * FROM piece ORDER BY id",
            "SELECT id, role, role_source, piece_id, piece_source, capture FROM scan ORDER BY id")
            for row in self.db.execute(sql)]

    @invariant()
    def computing_all_anew_changes_nothing(self) -> None:
        before = self.everything()
        with transaction(self.db):
            for kind in ("artist", "piece", "scan"):
                self.db.execute(f"INSERT INTO unsettled SELECT '{kind}', id FROM {kind} WHERE true"
                                " ON CONFLICT DO NOTHING")
        assert self.everything() == before

    @invariant()
    def what_was_said_holds(self) -> None:
        for row in self.db.execute("SELECT piece_id FROM piece_stated").fetchall():
            stated = stated_facts.stated_row(self.db, "piece_stated", row[0]) or {}
            piece = pieces.by_id(self.db, row[0])
            assert (piece is None) == (stated["joined_into"] is not None)
            if piece is not None:
                for name in ("title", "year", "series", "inventory_number", "notes"):
                    assert stated[name] in (None, getattr(piece, name))
        for row in self.db.execute("""SELECT s.role, s.piece_id, c.role, c.piece_id FROM scan_stated s
                                      JOIN scan c ON c.sha256 = s.sha256"""):
            assert row[0] in (None, row[2])
            assert row[1] is None or stated_facts.root(self.db, "piece", row[1]) == row[3]

    @invariant()
    def nothing_idle_is_left_and_all_is_logged(self) -> None:
        assert not self.db.execute("""SELECT 1 FROM piece p WHERE NOT EXISTS (SELECT 1 FROM scan WHERE piece_id = p.id)
                                      AND NOT EXISTS (SELECT 1 FROM piece_stated WHERE piece_id = p.id)""").fetchall()
        assert not self.db.execute("SELECT 1 FROM unsettled").fetchall()
        assert not replay.differences(self.db)


TestFacts = Facts.TestCase
TestFacts.settings = settings(max_examples=25, stateful_step_count=20, deadline=None)
