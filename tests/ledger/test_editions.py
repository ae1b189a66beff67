"""Editions hold whatever is done to them: no number twice, never beyond N, proofs apart, replacement keeps number.

Numbering rules: common practice, no source.
"""

import tempfile
import threading
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from catalogue.errors import Refused
from catalogue.ledger import editions, repeat, statuses
from catalogue.ledger.importing import import_orders
from catalogue.ledger.importing_editions import import_editions
from catalogue.records import editions as recorded
from catalogue.records import orders, pieces
from catalogue.records.database import Database, open_database, transaction
from catalogue.records.numbers import Number
from catalogue.settings import Home
from catalogue.sheets import tables

from .conftest import Shop


class Editions(RuleBasedStateMachine):
    """Two programs work on one edition in any order; a plain model says what must come of it."""

    @initialize(limit=st.integers(1, 6), proofs=st.integers(0, 3))
    def open(self, limit: int, proofs: int) -> None:
        self.folder = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        self.home = Home(Path(self.folder.name))
        self.seats: list[Database] = [open_database(self.home.database) for _ in range(2)]
        for db in self.seats:
            db.execute("PRAGMA synchronous = OFF")
        db = self.seats[0]
        with transaction(db):
            self.piece = pieces.piece_called(db, pieces.artist_called(db, "Ilse Marwood").id, "Pier")
        self.edition = editions.define(db, self.piece, limit, proofs=proofs)
        self.limit = {"number": limit, "proof": proofs}
        self.holder: dict[Number, int] = {}         # number → line that holds it
        self.lines: dict[int, list[Number]] = {}    # live lines and what they hold
        self.printed: set[int] = set()
        self.lost: set[Number] = set()
        self.ever_lost: set[Number] = set()
        self.closed = False

    def carried_over(self) -> None:
        """The ledger's tables read into an empty catalogue give the same prints, losses, orders and lines."""
        place = Path(self.folder.name) / "other"
        other = open_database(place / "catalogue.sqlite")
        try:
            for table, take in ((tables.editions_csv, import_editions), (tables.orders_csv, import_orders)):
                (place / "table.csv").write_text(table(self.seats[0]), encoding="utf-8", newline="")
                outcome = take(other, self.home.settings, place / "table.csv", make_pieces=True)
                assert not outcome.left_out, outcome.fates
            for shape in (lambda db: [(p.series, p.number, p.order_number, p.destroyed, p.reason, p.replaced_in)
                                      for p in recorded.issued(db, 1)],
                          lambda db: [(x.number, x.status, x.quantity, x.numbers) for x in orders.all_lines(db)],
                          lambda db: [(o.number, o.status) for o in orders.every(db)]):
                assert shape(other) == shape(self.seats[0])
        finally:
            other.close()

    def teardown(self) -> None:
        if hasattr(self, "seats"):
            self.carried_over()
        for db in getattr(self, "seats", []):
            db.close()
        if hasattr(self, "folder"):
            self.folder.cleanup()

    def free(self, series: str) -> list[int]:
        return [n for n in range(1, self.limit[series] + 1) if Number(series, n) not in self.holder]

    def ordered(self, seat: int, **given: object) -> int:
        db = self.seats[seat]
        proposal = repeat.propose(db, self.home, piece_id=self.piece, width_mm=300, height_mm=400, afresh=True)
        return repeat.record(db, proposal, **given)  # type: ignore[arg-type]

    @rule(seat=st.integers(0, 1), count=st.integers(1, 4), proofs=st.booleans())
    def order(self, seat: int, count: int, proofs: bool) -> None:
        series = "proof" if proofs else "number"
        expected = [Number(series, n) for n in self.free(series)[:count]]
        if self.closed or len(expected) < count:
            with pytest.raises(Refused):
                self.ordered(seat, quantity=count, proofs=proofs)
            return
        line = self.ordered(seat, quantity=count, proofs=proofs)
        self.lines[line] = expected
        self.holder |= dict.fromkeys(expected, line)

    @rule(seat=st.integers(0, 1), number=st.integers(1, 8), proof=st.booleans())
    def order_this_number(self, seat: int, number: int, proof: bool) -> None:
        wanted = Number("proof" if proof else "number", number)
        if self.closed or wanted in self.holder or number > self.limit[wanted.series]:
            with pytest.raises(Refused):
                self.ordered(seat, quantity=1, numbers=[wanted])
            return
        line = self.ordered(seat, quantity=1, numbers=[wanted])
        self.lines[line] = [wanted]
        self.holder[wanted] = line

    @precondition(lambda self: self.lines)
    @rule(data=st.data(), seat=st.integers(0, 1), printed=st.booleans())
    def print_or_cancel(self, data: st.DataObject, seat: int, printed: bool) -> None:
        line = data.draw(st.sampled_from(sorted(self.lines)))
        order = orders.line(self.seats[seat], line)
        assert order is not None
        if printed:
            statuses.set_status(self.seats[seat], order.number, "printed")
            self.printed.add(line)
            return
        statuses.set_status(self.seats[seat], order.number, "cancelled")
        held = self.lines.pop(line)
        for number in held:
            if line not in self.printed and self.holder.get(number) == line and number not in self.ever_lost:
                del self.holder[number]
            elif line not in self.printed and self.holder.get(number) != line:
                self.lost.add(number)  # it was to replace a lost print and never came to be

    @precondition(lambda self: set(self.holder) - self.lost)
    @rule(data=st.data(), seat=st.integers(0, 1))
    def destroy(self, data: st.DataObject, seat: int) -> None:
        number = data.draw(st.sampled_from(sorted(set(self.holder) - self.lost)))
        editions.destroy(self.seats[seat], self.edition, [number], "torn at the framer's")
        self.lost.add(number)
        self.ever_lost.add(number)

    @precondition(lambda self: self.holder)
    @rule(data=st.data(), seat=st.integers(0, 1))
    def replace(self, data: st.DataObject, seat: int) -> None:
        number = data.draw(st.sampled_from(sorted(self.holder)))
        if number not in self.lost:
            with pytest.raises(Refused):
                self.ordered(seat, quantity=1, replacing=[number])
            return
        line = self.ordered(seat, quantity=1, replacing=[number])
        self.lines[line] = [number]
        self.lost.discard(number)
        shown = orders.line(self.seats[seat], line)
        assert shown is not None and shown.numbers.removeprefix("AP ") in (str(number.number), *["I", "II", "III"])

    @rule(seat=st.integers(0, 1), limit=st.integers(1, 8))
    def change_n(self, seat: int, limit: int) -> None:
        numbered = any(n.series == "number" for n in self.holder)
        if numbered and limit != self.limit["number"]:
            with pytest.raises(Refused):
                editions.define(self.seats[seat], self.piece, limit, proofs=self.limit["proof"])
        else:
            editions.define(self.seats[seat], self.piece, limit, proofs=self.limit["proof"])
            self.limit["number"] = limit

    @precondition(lambda self: len(self.holder) > 3)
    @rule()
    def close(self) -> None:
        editions.close(self.seats[0], self.edition, "2026-01-01")
        self.closed = True

    @invariant()
    def as_the_model_says(self) -> None:
        if not hasattr(self, "seats"):
            return
        for db in self.seats:
            issued = recorded.issued(db, self.edition)
            out = [Number(p.series, p.number) for p in issued]
            assert len(out) == len(set(out)) and set(out) == set(self.holder)
            assert all(1 <= n.number <= self.limit[n.series] for n in out)
            assert {Number(p.series, p.number) for p in issued if p.lost} == self.lost
            state = editions.state(db, editions.wanted(db, self.edition))
            assert state.numbers_left == len(self.free("number")) and state.proofs_left == len(self.free("proof"))
            assert state.next_number == (self.free("number") or [None])[0]


TestEditions = Editions.TestCase
TestEditions.settings = settings(max_examples=25, stateful_step_count=25, deadline=None,
                                 # no shrinking: it takes minutes, and a sequence this short is read as it is
                                 phases=(Phase.explicit, Phase.reuse, Phase.generate),
                                 suppress_health_check=[HealthCheck.too_slow])


def test_two_programs_at_once_never_give_out_the_same_number(shop: Shop) -> None:
    piece = shop.piece("Ilse Marwood", "Pier")
    edition = editions.define(shop.db, piece, 30)
    start = threading.Barrier(3)
    given: list[str] = []
    refused: list[Refused] = []

    def work() -> None:
        db = open_database(shop.home.database)
        start.wait()
        for _ in range(15):
            proposal = repeat.propose(db, shop.home, piece_id=piece, width_mm=300, height_mm=400, afresh=True)
            try:
                line = orders.line(db, repeat.record(db, proposal))
            except Refused as error:
                refused.append(error)
            else:
                assert line is not None
                given.append(line.numbers)
        db.close()

    threads = [threading.Thread(target=work) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(map(int, given)) == list(range(1, 31)) and len(refused) == 15
    assert editions.state(shop.db, editions.wanted(shop.db, edition)).numbers_left == 0


def test_an_order_refused_for_its_numbers_leaves_nothing(shop: Shop) -> None:
    piece = shop.piece("Ilse Marwood", "Pier")
    editions.define(shop.db, piece, 3)
    proposal = repeat.propose(shop.db, shop.home, piece_id=piece, width_mm=300, height_mm=400, afresh=True)
    with pytest.raises(Refused, match="3 numbers left"):
        repeat.record(shop.db, proposal, quantity=4, number="J-1")
    assert orders.maybe(shop.db, "J-1") is None and orders.lines(shop.db) == []


def test_the_edition_of_the_very_size_comes_before_that_of_all_sizes(shop: Shop) -> None:
    piece = shop.piece("Ilse Marwood", "Pier")
    every = editions.define(shop.db, piece, 100)
    large = editions.define(shop.db, piece, 10, scope="one size", width_mm=500, height_mm=700)
    canvas = editions.define(shop.db, piece, 5, scope="one size", width_mm=500, height_mm=700, medium="Canvas")
    found = {name: editions.applying(shop.db, piece, *size, medium) for name, size, medium in (
        ("small", (300, 400), "Rag"), ("large", (500, 700), "Rag"), ("turned", (700, 500), "Rag"),
        ("near", (500.9, 699.5), "Rag"), ("off", (502, 700), "Rag"))}
    assert {name: edition and edition.id for name, edition in found.items()} == {
        "small": every, "large": large, "turned": large, "near": large, "off": every}
    fitting = editions.applying(shop.db, piece, 500, 700, "canvas")
    assert fitting is not None and fitting.id == canvas


def test_a_print_outside_every_edition_takes_no_number(shop: Shop) -> None:
    piece = shop.piece("Ilse Marwood", "Pier")
    edition = editions.define(shop.db, piece, 3, scope="one size", width_mm=500, height_mm=700)
    proposal = repeat.propose(shop.db, shop.home, piece_id=piece, width_mm=300, height_mm=400, afresh=True)
    line = orders.line(shop.db, repeat.record(shop.db, proposal, quantity=5))
    assert line is not None and line.numbers == "" and line.edition_id is None
    with pytest.raises(Refused):
        repeat.record(shop.db, proposal, quantity=1, numbers=[Number("number", 1)])
    assert recorded.issued(shop.db, edition) == []
