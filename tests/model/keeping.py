"""What keeps the catalogue, and what moves files on purpose: stores retired and taken back, intake, tidying, backups,
recovery from a damaged file, a rebuild from the stores, and two seats that take turns."""

import os
import shutil
from copy import deepcopy
from dataclasses import dataclass, replace
from pathlib import Path

from fileside import CONTENTS, LOOSE_PICTURE, NAMES, SECOND, a_picture, a_store, fits, threads
from hypothesis import strategies as st
from hypothesis.stateful import initialize, precondition, rule
from ordering import LedgerRules
from reference import Known, OnDisk, Place
from stated import Names, Stated
from stating import a_title, an_artist

from catalogue.errors import Refused
from catalogue.fixity.backup import back_up, generations
from catalogue.fixity.rebuild import rebuild
from catalogue.fixity.recovery import recover
from catalogue.indexing import refiling
from catalogue.indexing.stores import add_store, retire_store
from catalogue.intake import moving, proposals, tidy
from catalogue.intake.applying import apply
from catalogue.records import events, journal, stores
from catalogue.records.backup import condition
from catalogue.records.database import open_database


@dataclass(frozen=True)
class Snapshot:
    """What was observed and derived when a backup was made; ``event`` is the last before it."""

    event: int
    known: dict[str, dict[str, Known]]
    places: dict[str, dict[str, Place]]
    guesses: dict[str, Names | None]
    pairs: set[frozenset[str]]
    sure: set[frozenset[str]]


class KeepingRules(LedgerRules):
    """Backups, recoveries, rebuilds, stores, seats."""

    @initialize()
    def begin(self) -> None:
        super().begin()
        self.snapshot: Snapshot | None = None
        self.retired = 0

    def teardown(self) -> None:
        if hasattr(self, "other"):
            self.other.close()
        super().teardown()

    @rule()
    def the_other_seat(self) -> None:
        self.db, self.other = self.other, self.db

    # -- stores --------------------------------------------------------------------------------------------------

    def heed_stores(self) -> None:
        for name, store in self.reference.stores.items():
            store.retired = self.said.get("store", name, "retired") is not None

    @rule(store=a_store)
    def retire(self, store: str) -> None:
        model = self.reference.stores[store]
        if model.retired:
            return
        self.retired += 1
        self.state(lambda said, new: said.put("store", store, retired=self.retired),
                   lambda: retire_store(self.db, stores.by_name(self.db, store)))
        self.heed_stores()

    @rule(store=a_store)
    def take_back(self, store: str) -> None:
        model = self.reference.stores[store]
        if model.retired and model.here:
            self.state(lambda said, new: said.put("store", store, retired=None),
                       lambda: add_store(self.db, store, self.folder / store, model.kind, consent=True))
            self.heed_stores()
            model.come_back()

    # -- files moved on purpose ----------------------------------------------------------------------------------

    def usable(self, name: str) -> bool:
        return self.reference.stores[name].here and not self.reference.stores[name].retired

    @precondition(lambda self: self.usable("main"))
    @rule(level=st.sampled_from(tidy.Level))
    def tidy(self, level: tidy.Level) -> None:
        model = self.reference.stores["main"]
        with self.refusing():
            plan = tidy.plan_tidying(self.db, self.home.settings, stores.by_name(self.db, "main"), level)
            # a name by the rule says the role too, from which a later run would guess it: masters alone get one
            done = moving.apply_tidying(self.db, self.home, replace(plan, moves=tuple(
                m for m in plan.moves if fits(m.target, NAMES[m.sha256])
                and (level is not tidy.Level.RULE or self.said.role(NAMES[m.sha256]) == "master"))))
        for move in done.moved:
            assert model.disk[move.source].content == model.known[move.source].content == NAMES[move.sha256]
            assert move.target not in model.disk
            model.disk[move.target] = model.disk.pop(move.source)
            model.known[move.target] = replace(model.known.pop(move.source), inode=model.inode_of(move.target))
            model.places[move.target] = model.places.pop(move.source, Place())

    @rule(rules=st.sampled_from([("{piece}/{artist}/**/*",), ("{artist}/{year}/**/*",), ("{artist}/**/*",), ()]))
    def refile_and_take_back(self, rules: tuple[str, ...]) -> None:
        """By other place rules, and back: everything is filed as before."""
        other = replace(self.home, settings=replace(self.home.settings, place_rules=rules))
        try:
            done = refiling.refile(self.db, other, apply=True)
        except Refused:
            return
        if done.id:
            assert refiling.undo(self.db) > 0

    @precondition(lambda self: self.usable("main"))
    @rule(content=a_picture.filter(lambda name: name != LOOSE_PICTURE), artist=an_artist, title=a_title)
    def take_in(self, content: str, artist: str, title: str) -> None:
        """A scan from a key."""
        key = self.folder / "key"
        shutil.rmtree(key, ignore_errors=True)
        key.mkdir()
        (key / "0001.tif").write_bytes(CONTENTS[content])
        self.stamp += 10
        os.utime(key / "0001.tif", ns=(self.stamp * SECOND, self.stamp * SECOND))
        store = stores.by_name(self.db, "main")
        plan = proposals.propose(self.db, self.home, key, store)
        if not plan.proposals or not plan.proposals[0].take:
            return
        plan = proposals.with_answers(self.db, self.home, plan, 0, artist=artist, piece=title)
        if not plan.proposals[0].ready:
            return
        label = self.said.named_artist(artist)
        known = (self.said.artist_name(label), title) if label is not None else (artist, title)
        is_new = known not in self.said.pieces()
        known_id = 0 if label is None else self.artist_id(known[0])
        model = self.reference.stores["main"]
        before = self.piece_id(known) if not is_new else 0
        taken: list[str] = []

        def say(said: Stated, new: int) -> None:
            if not is_new:
                said.keep_piece(before, known)
            else:
                owner = known_id or (self.artist_id(artist) if new > 0 else -1)
                if label is None:
                    said.put("artist", owner, name=artist, known=artist)
                said.keep_artist(owner, known[0])
                said.put("piece", new, known=(said.known_artist(known[0]), title), artist=owner, title=title)
            said.put("scan", content, role=plan.proposals[0].items[0].role, piece=new if is_new else before)

        def service() -> None:
            outcome = apply(self.db, self.home, plan)
            assert len(outcome.taken) == 1, outcome
            taken.append(outcome.taken[0].target)

        self.state(say, service, lambda: self.piece_id(known))
        self.last = None, 0, None  # a scan was met too, which no undoing takes back
        for path in taken:
            lying = model.disk.setdefault(path, OnDisk(content, self.stamp))
            assert lying.content == content
            model._hold(path, lying, "", self.reference.numbers())

    # -- backups and what they are for -----------------------------------------------------------------------------

    @rule()
    def back_up(self) -> None:
        last = events.last(self.db)
        back_up(self.db, self.home)
        self.snapshot = Snapshot(
            last.id if last else 0, deepcopy({n: s.known for n, s in self.reference.stores.items()}),
            deepcopy({n: s.places for n, s in self.reference.stores.items()}), dict(self.reference.guesses),
            set(self.said.pairs), set(self.said.sure))

    @precondition(lambda self: not self.journal_lost and self.newest_statement() > 0)
    @rule()
    def lose_the_journal(self) -> None:
        """``audit --log`` says so, and the next statement writes it anew, whole."""
        journal.path_of(self.home.database).unlink()
        self.lost_after, self.looked_at = self.newest_statement(), None

    def close_all(self) -> None:
        self.db.close()
        self.other.close()

    def open_all(self) -> None:
        self.db, self.other = open_database(self.home.database), open_database(self.home.database)

    @precondition(lambda self: self.snapshot is not None)
    @rule(damage=st.sampled_from(["all", "half", "here and there", "none"]))
    def recover(self, damage: str) -> None:
        """The catalogue's file is damaged, and comes back with everything that was stated."""
        assert self.snapshot is not None
        if self.journal_lost and damage != "none":
            return  # what was stated since the backup may be gone: a recovery says so
        self.close_all()
        wreck(self.home.database, damage)
        source = None if condition(self.home.database).faults else generations(self.home)[-1].path
        done = recover(self.home, source)
        assert done.put_back is not None
        self.lost_after = 0
        self.open_all()
        self.said.log = {event: change for event, change in self.said.log.items() if event <= self.snapshot.event}
        for name, store in self.reference.stores.items():
            before = store.known
            store.known, store.places = deepcopy(self.snapshot.known[name]), deepcopy(self.snapshot.places[name])
            for path, row in store.known.items():
                store.known[path] = replace(row, failed=row.failed or self.distrusted(
                    name, path, before.get(path), sure=damage == "none"))
        self.reference.guesses.clear()
        self.reference.guesses.update(self.snapshot.guesses)
        self.said.pairs, self.said.sure = set(self.snapshot.pairs), set(self.snapshot.sure)

    def distrusted(self, store: str, path: str, last: Known | None, *, sure: bool) -> bool:
        """Whether a recovery believes a file no more that its backup believed: where the last look before it failed,
        and the damaged catalogue still tells of that, as it surely does where it is whole (``sure``)."""
        if last is not None and last.present and not last.failed:
            return False
        if sure and last is not None and last.present and not last.accepted_edit:
            return True
        row = self.db.execute("""SELECT f.failed_at FROM file f JOIN store s ON s.id = f.store_id
                                 WHERE s.name = ? AND f.path = ?""", [store, path]).fetchone()
        return row is not None and row[0] is not None

    @precondition(lambda self: self.usable("main") and self.usable("nas") and not self.journal_lost)
    @rule()
    def rebuild(self) -> None:
        """The catalogue and its backups are lost, and made anew from stores and journal."""
        self.close_all()
        for tail in ("", "-wal", "-shm"):
            Path(f"{self.home.database}{tail}").unlink(missing_ok=True)
        shutil.rmtree(self.home.backups, ignore_errors=True)
        self.snapshot = None
        with self.refusing():
            rebuild(self.home, [self.folder / name for name in self.reference.stores], executors=threads)
        self.open_all()
        self.said.log.clear()
        self.said.pairs.clear()
        self.said.sure.clear()
        self.reference.guesses.clear()
        for store in self.reference.stores.values():
            store.known.clear()
            store.places.clear()
        for store in self.reference.stores.values():
            store.index(self.reference.numbers())


def wreck(database: Path, how: str) -> None:
    """Damage a catalogue's file as a failing disk does."""
    if how == "none":
        return
    for tail in ("-wal", "-shm"):
        Path(f"{database}{tail}").unlink(missing_ok=True)
    data = bytearray(database.read_bytes())
    if how == "all":
        data[:] = b"\x55" * len(data)
    elif how == "half":
        del data[len(data) // 2:]
    else:
        for at in range(4096 * 3, len(data), 4096 * 2):
            data[at:at + 2000] = b"\x55" * 2000
    database.write_bytes(bytes(data))

