"""Statements on artists, pieces, scans and pairs through the services, each beside :mod:`stated`, and their undoing."""

from collections.abc import Callable
from typing import Any

from fileside import CONTENTS, DIGESTS, NAMES, FileRules
from hypothesis import strategies as st
from hypothesis.stateful import initialize, invariant, rule
from stated import Names, RefusedByModel, Stated

from catalogue.errors import Busy, CatalogueError
from catalogue.fixity.log import verify_chain
from catalogue.indexing import corrections
from catalogue.likeness import merging
from catalogue.likeness.evidence import Evidence, Relation
from catalogue.likeness.service import judge
from catalogue.records import journal, likenesses, pieces, replay, scans
from catalogue.records.database import BUSY_SECONDS, last_statement, open_database, others_writes, transaction

EVIDENCE = Evidence(Relation.RESCAN, 0.99).to_json()
ARTISTS = ("Ada", "Ben", "Eve Moss", "Cy Ruhl")
TITLES = ("Harbour", "Quay", "Boats", "Weir")
a_number = st.integers(0, 59)
an_artist, a_title = st.sampled_from(ARTISTS), st.sampled_from(TITLES)
some_facts = st.dictionaries(st.sampled_from(["year", "notes", "width_mm"]), st.integers(0, 2), min_size=1)
Row = tuple[Any, ...]
VALUES: dict[str, tuple[Any, ...]] = {"year": ("", "1999", "2003"), "notes": ("", "signed below", "foxed"),
                                      "width_mm": (300.0, 203.2, 600.5)}


class StatementRules(FileRules):
    """What a person may say of artists, pieces, scans and pairs, and take back."""

    @initialize()
    def begin(self) -> None:
        super().begin()
        self.other = open_database(self.home.database)
        self.lost_after = 0  # the newest statement when the journal was lost
        self.said = Stated(guesses=self.reference.guesses)
        self.undoings: set[int] = set()  # events that undo
        self.steps = 0
        self.looked_at: object = None
        self.last: tuple[int | None, int, Any] = (None, 0, None)  # the last statement, its step, what was before it

    def state(self, model: Callable[[Stated, int], None], service: Callable[[], Any],
              new: Callable[[], int] = lambda: 0) -> bool:
        """Have the service state something and the model too. ``new`` tells the number that something new was given.
        Says whether it was stated."""
        trial, refused = self.said.trial(), ""
        try:
            model(trial, -1)
        except RefusedByModel as error:
            refused = str(error)
        if not refused and trial.contradicts():
            return False  # which of two gives way is no matter of the rules
        before, rows = last_statement(self.db), self.derived_rows()
        try:
            service()
        except CatalogueError as error:
            assert refused, f"refused without need: {error}"
            return False
        assert not refused, f"should have been refused: {refused}"
        trial, event = self.said.trial(), last_statement(self.db)
        model(trial, new())
        self.said.take(trial, event if event != before else None)
        self.last = event if event != before else None, self.steps, rows
        return True

    def derived_rows(self) -> tuple[list[Row], list[Row], list[Row]]:
        """Artists by key, pieces, and what scans are, with all numbers."""
        artists, of_pieces, of_scans = (
            [tuple(row) for row in self.db.execute(sql)] for sql in (
                "SELECT key, id, name, contact, terms, notes FROM artist ORDER BY key",
                """SELECT artist_id, id, title, key, year, series, inventory_number, width_mm, height_mm, relief_mm,
                          current_scan_id, current_source, notes, medium FROM piece ORDER BY id""",
                "SELECT id, role, role_source, piece_id, piece_source, capture FROM scan ORDER BY id"))
        return artists, of_pieces, of_scans

    def renumbered(self, before: list[Row], after: list[Row]) -> dict[object, object]:
        """Numbers of artists now by those of before. Only one of whom nobody speaks may have another: left without a
        piece such a one is forgotten, and gets a new number on coming back."""
        spoken = {row[0] for row in self.db.execute("SELECT artist_id FROM artist_stated")}
        now = {key: number for key, number, *_ in after}
        changed = {number: now[key] for key, number, *_ in before if key in now}
        assert all(old == new or new not in spoken for old, new in changed.items())
        return changed

    def newest_statement(self) -> int:
        return int(self.db.execute("SELECT coalesce(max(id), 0) FROM event WHERE change <> ''").fetchone()[0])

    @property
    def journal_lost(self) -> bool:
        """Until the next statement, which writes it anew."""
        return self.lost_after == self.newest_statement() > 0

    def one_of(self, number: int, given: Any) -> Any:
        """The ``number``-th of a collection so to speak; None of an empty one."""
        listed = sorted(given)
        return listed[number % len(listed)] if listed else None

    def piece_id(self, names: Names) -> int:
        found = pieces.known_piece(self.db, *names)
        assert found is not None, names
        return found

    def artist_id(self, name: str) -> int:
        found = pieces.artist_named(self.db, name)
        assert found is not None, name
        return found.id

    def scan_id(self, content: str) -> int:
        scan = scans.by_digest(self.db, DIGESTS[content])
        assert scan is not None, content
        return scan.id

    # -- pieces --------------------------------------------------------------------------------------------------

    @rule(number=a_number, given=some_facts, title=st.none() | a_title, artist=st.none() | an_artist)
    def say_of_piece(self, number: int, given: dict[str, int], title: str | None, artist: str | None) -> None:
        names = self.one_of(number, self.said.pieces())
        if names is None:
            return
        facts: dict[str, Any] = {name: VALUES[name][value] for name, value in given.items()}
        facts |= {"title": title} if title else {}
        piece = self.piece_id(names)
        known_artist = self.said.named_artist(artist) if artist else None
        known_id = 0 if known_artist is None else self.artist_id(self.said.artist_name(known_artist))

        def model(said: Stated, new: int) -> None:
            now: dict[str, Any] = {"year": "", "notes": "", **said.row("piece", piece), "title": names[1]}
            changed = {name: value for name, value in facts.items() if now.get(name) != value}
            if artist and (known_artist is None or said.artist_name(known_artist) != names[0]):
                if known_artist is None:
                    said.put("artist", new, name=artist, known=artist)
                elif not isinstance(known_artist, int):
                    said.keep_artist(known_id, known_artist)
                changed["artist"] = new if known_artist is None else known_id
            wanted = (said.artist_name(changed["artist"]) if "artist" in changed else names[0],
                      changed.get("title", names[1]))
            if wanted != names and wanted in self.said.pieces():
                raise RefusedByModel("there is such a piece")
            if changed:
                said.keep_piece(piece, names)
                said.put("piece", piece, **changed)

        self.state(model, lambda: corrections.set_piece(self.db, piece, facts, artist=artist),
                   lambda: self.artist_id(artist) if artist else 0)

    @rule(one=a_number, other=a_number, described=st.none() | some_facts)
    def merge_pieces(self, one: int, other: int, described: dict[str, int] | None = None) -> None:
        """Two pieces, of the second of which something may have been said just before."""
        if described:
            self.say_of_piece(other, described, None, None)
        keep, gone = self.one_of(one, self.said.pieces()), self.one_of(other, self.said.pieces())
        if keep is None or keep == gone:
            return
        keep_id, gone_id = self.piece_id(keep), self.piece_id(gone)

        def model(said: Stated, new: int) -> None:
            if said.editions_of(keep_id) and said.editions_of(gone_id):
                raise RefusedByModel("both have editions")
            said.keep_piece(keep_id, keep)
            said.keep_piece(gone_id, gone)
            said.join(keep_id, gone_id, gone)

        self.state(model, lambda: merging.merge(self.db, keep_id, gone_id))

    @rule(number=a_number, scan=a_number, title=a_title)
    def split_piece(self, number: int, scan: int, title: str) -> None:
        content = self.one_of(scan, [c for c in self.said.guesses if self.said.filed(c)])
        if content is None:
            return
        names = self.said.filed(content)
        assert names is not None
        piece, owner = self.piece_id(names), self.artist_id(names[0])

        def model(said: Stated, new: int) -> None:
            if (names[0], title) in said.pieces():
                raise RefusedByModel("there is such a piece")
            said.keep_artist(owner, names[0])
            said.put("piece", new, known=(said.known_artist(names[0]), title), artist=owner, title=title)
            said.put("scan", content, piece=new)

        self.state(model, lambda: merging.split(self.db, piece, [self.scan_id(content)], title),
                   lambda: self.piece_id((names[0], title)))

    @rule(number=a_number, scan=a_number)
    def choose_master(self, number: int, scan: int) -> None:
        names = self.one_of(number, self.said.pieces())
        here = [c for c in self.said.guesses if names and self.said.places(c) == {names}
                and self.said.role(c) == "master"]
        content = self.one_of(scan, here)
        if content is None:
            return
        piece = self.piece_id(names)

        def model(said: Stated, new: int) -> None:
            said.keep_piece(piece, names)
            said.put("piece", piece, current=DIGESTS[content])

        self.state(model, lambda: pieces.set_current(self.db, piece, self.scan_id(content), "person"))

    @rule(number=a_number, notes=st.sampled_from(["on linen", "framed", "at the framer's"]))
    def say_while_the_other_seat_tries_too(self, number: int, notes: str) -> None:
        """The other seat sees nothing of it before it is whole, can write nothing meanwhile, and everything after."""
        names = self.one_of(number, self.said.pieces())
        if names is None or self.said.fact(names, "notes") == notes:
            return
        piece = self.piece_id(names)
        before = pieces.by_id(self.other, piece)
        self.other.execute("PRAGMA busy_timeout = 0").close()

        def model(said: Stated, new: int) -> None:
            said.keep_piece(piece, names)
            said.put("piece", piece, notes=notes)

        def service() -> None:
            with transaction(self.db):
                pieces.state(self.db, piece, {"notes": notes})
                assert pieces.by_id(self.other, piece) == before
                try:
                    corrections.set_piece(self.other, piece, {"notes": "from the other seat"})
                except Busy:
                    return
                raise AssertionError("two wrote at once")

        self.state(model, service)
        self.other.execute(f"PRAGMA busy_timeout = {BUSY_SECONDS * 1000:.0f}").close()
        assert pieces.by_id(self.other, piece) == pieces.by_id(self.db, piece)

    # -- artists -------------------------------------------------------------------------------------------------

    @rule(number=a_number, name=an_artist)
    def rename_artist(self, number: int, name: str) -> None:
        artist = self.one_of(number, {artist for artist, _ in self.said.pieces()})
        if artist is None:
            return
        other = self.said.named_artist(name)
        mine = self.said.named_artist(artist)
        artist_id = self.artist_id(artist)

        def model(said: Stated, new: int) -> None:
            if other is not None and other != mine:
                raise RefusedByModel("there is such an artist")
            if name != artist:
                said.keep_artist(artist_id, artist)
                said.put("artist", artist_id, name=name)

        self.state(model, lambda: corrections.rename_artist(self.db, artist_id, name))

    @rule(number=a_number, notes=st.sampled_from(VALUES["notes"]))
    def say_of_artist(self, number: int, notes: str) -> None:
        artist = self.one_of(number, {artist for artist, _ in self.said.pieces()})
        if artist is None:
            return
        artist_id = self.artist_id(artist)

        def model(said: Stated, new: int) -> None:
            if notes != (said.get("artist", artist_id, "notes") or ""):
                said.keep_artist(artist_id, artist)
                said.put("artist", artist_id, notes=notes)

        self.state(model, lambda: pieces.describe_artist(self.db, artist_id, contact="", terms="", notes=notes))

    @rule(one=a_number, other=a_number)
    def merge_artists(self, one: int, other: int) -> None:
        artists = {artist for artist, _ in self.said.pieces()}
        keep, gone = self.one_of(one, artists), self.one_of(other, artists)
        if keep is None or keep == gone:
            return
        keep_id, gone_id = self.artist_id(keep), self.artist_id(gone)
        both = sorted(title for artist, title in self.said.pieces() if artist == gone
                      and (keep, title) in self.said.pieces())
        pairs = [(self.piece_id((keep, title)), self.piece_id((gone, title)), title) for title in both]

        def model(said: Stated, new: int) -> None:
            said.keep_artist(gone_id, gone)
            for own, its, title in pairs:
                if said.editions_of(own) and said.editions_of(its):
                    raise RefusedByModel("both have editions")
                said.keep_piece(own, (keep, title))
                said.keep_piece(its, (gone, title))
                said.join(own, its, (gone, title))
            mine, theirs = (said.get("artist", a, "notes") or "" for a in (keep_id, gone_id))
            said.keep_artist(keep_id, keep)
            notes = "\n".join(filter(None, [mine, theirs if theirs != mine else ""]))
            if notes != mine:
                said.put("artist", keep_id, notes=notes)
            said.put("artist", gone_id, joined=keep_id)

        self.state(model, lambda: corrections.merge_artists(self.db, keep_id, gone_id))

    # -- scans and pairs -----------------------------------------------------------------------------------------

    @rule(scan=a_number, role=st.sampled_from(["master", "reference", "reference"]))
    def say_role(self, scan: int, role: str) -> None:
        content = self.one_of(scan, self.said.guesses)
        if content is not None:
            self.state(lambda said, new: said.put("scan", content, role=role),
                       lambda: corrections.set_scans(self.db, [DIGESTS[content]], role=role))

    @rule(scan=a_number, number=a_number)
    def file_scan(self, scan: int, number: int) -> None:
        content, names = self.one_of(scan, self.said.guesses), self.one_of(number, self.said.pieces())
        if content is None or names is None:
            return
        piece = self.piece_id(names)

        def model(said: Stated, new: int) -> None:
            before = said.get("scan", content, "piece")
            if before is None or said.root("piece", before) != piece:
                said.keep_piece(piece, names)
                said.put("scan", content, piece=piece)

        self.state(model, lambda: corrections.set_scans(self.db, [DIGESTS[content]], piece_id=piece))

    @rule(one=a_number, other=a_number, sure=st.booleans())
    def found_alike(self, one: int, other: int, sure: bool) -> None:
        a, b = self.one_of(one, self.said.guesses), self.one_of(other, self.said.guesses)
        if a is None or a == b:
            return
        with transaction(self.db):
            likenesses.keep(self.db, self.scan_id(a), self.scan_id(b), "re-scan", 0.99, EVIDENCE, files_together=sure)
        pair = frozenset((a, b))
        if pair not in self.said.pairs or self.said.get("pair", pair, "verdict") is None:
            self.said.pairs.add(pair)
            (self.said.sure.add if sure else self.said.sure.discard)(pair)

    @rule(number=a_number, verdict=st.sampled_from(["confirmed", "confirmed", "rejected", ""]))
    def judge_pair(self, number: int, verdict: str) -> None:
        rows = likenesses.listed(self.db)
        if not rows:
            return
        row = rows[number % len(rows)]
        pair = frozenset((NAMES[row.a_sha256], NAMES[row.b_sha256]))
        self.state(lambda said, new: said.judge(pair, verdict or None),
                   lambda: judge(self.db, row.id, verdict))

    @rule(number=a_number, newest=st.sampled_from([True, True, False]))
    def undo(self, number: int, newest: bool) -> None:
        standing = [event for event in self.said.log if event not in self.undoings]
        event = max(standing, default=None) if newest else self.one_of(number, self.said.log)
        if event is not None:
            last, step, rows = self.last
            if self.state(lambda said, new: said.undo(event), lambda: corrections.undo(self.db, event)):
                self.undoings.add(last_statement(self.db) or 0)
                if (last, step) == (event, self.steps - 1):
                    artists, of_pieces, of_scans = rows
                    changed = self.renumbered(artists, self.derived_rows()[0])
                    assert self.derived_rows() == (
                        [(key, changed.get(number), *rest) for key, number, *rest in artists],
                        [(changed.get(artist), *rest) for artist, *rest in of_pieces], of_scans), "undone at once"
            self.heed_stores()

    def heed_stores(self) -> None:
        """Stores are retired and taken back by statements."""

    # -- comparing -----------------------------------------------------------------------------------------------

    @invariant()
    def filing_agrees(self) -> None:
        if not hasattr(self, "said"):
            return
        held: dict[Names, list[str]] = {}
        for content in CONTENTS:
            scan = scans.by_digest(self.db, DIGESTS[content])
            assert (scan is not None) == (content in self.said.guesses), content
            if scan is None:
                continue
            assert scan.role == self.said.role(content), content
            piece = pieces.by_id(self.db, scan.piece_id) if scan.piece_id else None
            names = (piece.artist, piece.title) if piece else None
            assert names in self.said.places(content), (content, names, self.said.places(content))
            if names:
                held.setdefault(names, []).append(content)
        listed = {(p.artist, p.title): p for p in pieces.every(self.db)}
        assert set(listed) == self.said.pieces() | set(held), (set(listed), self.said.pieces())
        for names, piece in listed.items():
            said = {name: self.said.fact(names, name) for name in ("year", "notes", "width_mm")}
            assert (piece.year, piece.notes, piece.width_mm) == (said["year"] or "", said["notes"] or "",
                                                                 said["width_mm"]), names
            now = scans.by_id(self.db, piece.current_scan_id) if piece.current_scan_id else None
            assert (NAMES[now.sha256] if now else None) == self.current(names, held.get(names, [])), (
                names, held.get(names))
        for artist in pieces.artists_whole(self.db):
            label = self.said.named_artist(artist.name)
            notes = self.said.get("artist", label, "notes") if isinstance(label, int) else ""
            assert artist.notes == (notes or ""), artist

    def current(self, names: Names, contents: list[str]) -> str | None:
        """The chosen master, else the one that is there, sound, and known longest."""
        masters = [c for c in self.said.guesses if c in contents and self.said.role(c) == "master"]
        chosen = NAMES.get(self.said.fact(names, "current"))
        if chosen in masters:
            return chosen
        return max(masters, key=lambda c: (self.reference.seen_anywhere(c), self.reference.copies(c) > 0),
                   default=None)

    @invariant()
    def log_agrees(self) -> None:
        """What ``audit --log`` looks at."""
        if not hasattr(self, "said"):
            return
        self.steps += 1
        written = self.db, others_writes(self.db), self.db.conn.total_changes
        if written != self.looked_at:  # else nobody has written since
            self.looked_at = written
            assert not replay.differences(self.db)
            faults = journal.check(self.db, self.home.database)
            assert faults == ([f"{journal.path_of(self.home.database).name} is gone"] if self.journal_lost else [])
            assert verify_chain(self.db, self.home).unbroken
