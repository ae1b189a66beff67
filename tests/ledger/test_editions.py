"""Editions hold whatever is done to them: no number twice, never beyond N, proofs apart, replacement keeps number.

Numbering rules: common practice, no source.
"""

import sqlite3
import tempfile
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from copy import deepcopy
from dataclasses import dataclass, field
from functools import cache
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
from catalogue.records import events, orders, pieces
from catalogue.records.database import Database, open_database, transaction
from catalogue.records.numbers import Number
from catalogue.records.replay import differences, undo
from catalogue.settings import Home
from catalogue.sheets import tables
from tests import recorded as rows

from .conftest import Shop


@dataclass
class Model:
    """What must be so. ``prints``: of each number not free the ``(line, state)`` of its prints, oldest first."""

    limit: dict[str, int]
    prints: dict[Number, list[tuple[int, str]]] = field(default_factory=dict)
    status: dict[int, str] = field(default_factory=dict)    # of each line's order
    closed: bool = False

    def free(self, series: str) -> list[int]:
        return [n for n in range(1, self.limit[series] + 1) if Number(series, n) not in self.prints]

    def state(self, number: Number) -> str:
        return self.prints[number][-1][1] if number in self.prints else "free"

    def lost(self) -> set[Number]:
        return {number for number in self.prints if self.state(number) == "destroyed"}

    def add(self, line: int, numbers: Sequence[Number], status: str) -> None:
        self.status[line] = status
        state = "reserved" if status in ("requested", "approved") else "printed"
        for number in numbers:
            self.prints.setdefault(number, []).append((line, state))

    def move(self, line: int, status: str) -> None:
        self.status[line] = status
        for number in list(self.prints):
            if self.prints[number][-1] != (line, "reserved"):
                continue
            if status in ("printed", "collected"):
                self.prints[number][-1] = (line, "printed")
            elif status == "cancelled":
                self.prints[number].pop()
        self.prints = {number: made for number, made in self.prints.items() if made}


STATUS = st.sampled_from(["requested", "approved", "printed", "collected"])


@cache
def _empty() -> bytes:
    """A catalogue with nothing in it; making one takes longer than all a machine does with it."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "catalogue.sqlite"
        open_database(path).close()
        return path.read_bytes()


def _begun(path: Path) -> Database:
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(_empty())
    return open_database(path)


class Editions(RuleBasedStateMachine):
    """Two programs work on one edition in any order; a plain model says what must come of it."""

    @initialize(limit=st.integers(1, 6), proofs=st.integers(0, 3))
    def open(self, limit: int, proofs: int) -> None:
        self.folder = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        self.home = Home(Path(self.folder.name))
        self.seats: list[Database] = [_begun(self.home.database), open_database(self.home.database)]
        for db in self.seats:
            db.execute("PRAGMA synchronous = OFF")
        db = self.seats[0]
        with transaction(db):
            self.piece = pieces.piece_called(db, pieces.artist_called(db, "Ilse Marwood").id, "Pier")
        self.edition = editions.define(db, self.piece, limit, proofs=proofs)
        self.model = Model({"number": limit, "proof": proofs})
        self.before: list[tuple[int, Model]] = []   # the statement and the model before it, of those to take back

    def carried_over(self) -> None:
        """The ledger's tables read into an empty catalogue give the same prints, losses, orders and lines."""
        place = Path(self.folder.name) / "other"
        other = _begun(place / "catalogue.sqlite")
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
            assert not differences(self.seats[0]) and not list(events.broken_links(self.seats[0]))
        for db in getattr(self, "seats", []):
            db.close()
        if hasattr(self, "folder"):
            self.folder.cleanup()

    def last_statement(self) -> int:
        return next((e.id for e in reversed(rows.events(self.seats[0])) if e.change), 0)

    @contextmanager
    def stating(self) -> Iterator[Model]:
        """Remember what was before, so that this can be undone."""
        model, statement = deepcopy(self.model), self.last_statement()
        yield self.model
        if (now := self.last_statement()) != statement:
            self.before.append((now, model))

    def ordered(self, seat: int, **given: object) -> int:
        db = self.seats[seat]
        proposal = repeat.propose(db, self.home, piece_id=self.piece, width_mm=300, height_mm=400, afresh=True)
        return repeat.record(db, proposal, **given).id  # type: ignore[arg-type]

    @rule(seat=st.integers(0, 1), count=st.integers(1, 4), proofs=st.booleans(), status=STATUS)
    def order(self, seat: int, count: int, proofs: bool, status: str) -> None:
        series = "proof" if proofs else "number"
        expected = [Number(series, n) for n in self.model.free(series)[:count]]
        if self.model.closed or len(expected) < count:
            with pytest.raises(Refused):
                self.ordered(seat, quantity=count, proofs=proofs, status=status)
            return
        with self.stating() as model:
            model.add(self.ordered(seat, quantity=count, proofs=proofs, status=status), expected, status)

    @rule(seat=st.integers(0, 1), number=st.integers(1, 8), proof=st.booleans(), status=STATUS)
    def order_this_number(self, seat: int, number: int, proof: bool, status: str) -> None:
        wanted = Number("proof" if proof else "number", number)
        if self.model.closed or number not in self.model.free(wanted.series):
            with pytest.raises(Refused):
                self.ordered(seat, quantity=1, numbers=[wanted], status=status)
            return
        with self.stating() as model:
            model.add(self.ordered(seat, quantity=1, numbers=[wanted], status=status), [wanted], status)

    @precondition(lambda self: self.model.status)
    @rule(data=st.data(), seat=st.integers(0, 1), status=st.sampled_from(orders.STATUSES))
    def move(self, data: st.DataObject, seat: int, status: str) -> None:
        line = data.draw(st.sampled_from(sorted(self.model.status)))
        order = orders.line(self.seats[seat], line)
        assert order is not None
        if self.model.status[line] == "cancelled" and status != "cancelled":
            with pytest.raises(Refused):
                statuses.set_status(self.seats[seat], order.number, status)
            return
        with self.stating() as model:
            statuses.set_status(self.seats[seat], order.number, status)
            model.move(line, status)

    @precondition(lambda self: self.model.prints)
    @rule(data=st.data(), seat=st.integers(0, 1))
    def destroy(self, data: st.DataObject, seat: int) -> None:
        number = data.draw(st.sampled_from(sorted(self.model.prints)))
        if self.model.state(number) == "destroyed":
            with pytest.raises(Refused):
                editions.destroy(self.seats[seat], self.edition, [number], "torn")
            return
        with self.stating() as model:
            editions.destroy(self.seats[seat], self.edition, [number], "torn")
            model.prints[number][-1] = (model.prints[number][-1][0], "destroyed")

    @precondition(lambda self: self.model.prints)
    @rule(data=st.data(), seat=st.integers(0, 1), status=STATUS)
    def replace(self, data: st.DataObject, seat: int, status: str) -> None:
        number = data.draw(st.sampled_from(sorted(self.model.prints)))
        if self.model.state(number) != "destroyed":
            with pytest.raises(Refused):
                self.ordered(seat, quantity=1, replacing=[number], status=status)
            return
        with self.stating() as model:
            line = self.ordered(seat, quantity=1, replacing=[number], status=status)
            model.add(line, [number], status)
        shown = orders.line(self.seats[seat], line)
        assert shown is not None and shown.numbers.removeprefix("AP ") in (str(number.number), *["I", "II", "III"])

    @rule(seat=st.integers(0, 1), limit=st.integers(1, 8))
    def change_n(self, seat: int, limit: int) -> None:
        if any(n.series == "number" for n in self.model.prints) and limit != self.model.limit["number"]:
            with pytest.raises(Refused):
                editions.define(self.seats[seat], self.piece, limit, proofs=self.model.limit["proof"])
            return
        with self.stating() as model:
            editions.define(self.seats[seat], self.piece, limit, proofs=model.limit["proof"])
            model.limit = {**model.limit, "number": limit}

    @precondition(lambda self: len(self.model.prints) > 3)
    @rule()
    def close(self) -> None:
        with self.stating() as model:
            editions.close(self.seats[0], self.edition, "2026-01-01")
            model.closed = True

    @precondition(lambda self: self.before)
    @rule(seat=st.integers(0, 1))
    def take_back(self, seat: int) -> None:
        """The newest statement undone gives exactly what was before it."""
        statement, model = self.before.pop()
        undo(self.seats[seat], statement)
        self.model = model

    @precondition(lambda self: self.model.prints)
    @rule(data=st.data(), seat=st.integers(0, 1), state=st.sampled_from(["reserved", "printed", "destroyed"]))
    def force(self, data: st.DataObject, seat: int, state: str) -> None:
        """The database itself refuses every move that is none."""
        number = data.draw(st.sampled_from(sorted(self.model.prints)))
        db, now = self.seats[seat], self.model.state(number)
        this = [self.edition, *number]
        illegal = [("INSERT INTO edition_print (edition_id, series, number, nth, state, issued)"
                    " VALUES (?, ?, ?, 9, 'printed', '')", this)]
        if now != state and (now, state) not in (("reserved", "printed"), ("printed", "destroyed")):
            illegal.append(("UPDATE edition_print SET state = ?, destroyed = '2026-01-01' WHERE edition_id = ?"
                            " AND series = ? AND number = ? AND state = ?", [state, *this, now]))
        if now != "destroyed":
            illegal.append(("INSERT INTO edition_print (edition_id, series, number, nth, state, issued)"
                            " VALUES (?, ?, ?, 1 + ?, 'printed', '')", [*this, len(self.model.prints[number])]))
        if now != "reserved":
            illegal.append(("DELETE FROM edition_print WHERE edition_id = ? AND series = ? AND number = ?", this))
        for sql, values in illegal:
            with pytest.raises(sqlite3.IntegrityError), transaction(db):
                db.execute(sql, values)

    @invariant()
    def as_the_model_says(self) -> None:
        if not hasattr(self, "seats"):
            return
        model = self.model
        for db in self.seats:
            issued = recorded.issued(db, self.edition)
            assert {Number(p.series, p.number): p.state for p in issued} == {n: model.state(n) for n in model.prints}
            assert len(issued) == len(model.prints)
            assert all(1 <= p.number <= model.limit[p.series] for p in issued)
            assert {Number(p.series, p.number) for p in issued if p.lost} == model.lost()
            state = editions.state(db, editions.get_edition(db, self.edition))
            assert state.numbers_left == len(model.free("number")) and state.proofs_left == len(model.free("proof"))
            assert state.next_number == (model.free("number") or [None])[0]


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
                line = repeat.record(db, proposal)
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
    assert editions.state(shop.db, editions.get_edition(shop.db, edition)).numbers_left == 0


def test_an_order_refused_for_its_numbers_leaves_nothing(shop: Shop) -> None:
    piece = shop.piece("Ilse Marwood", "Pier")
    editions.define(shop.db, piece, 3)
    proposal = repeat.propose(shop.db, shop.home, piece_id=piece, width_mm=300, height_mm=400, afresh=True)
    with pytest.raises(Refused, match="3 numbers left"):
        repeat.record(shop.db, proposal, quantity=4, number="J-1")
    assert orders.find_by_number(shop.db, "J-1") is None and rows.order_lines(shop.db) == []


def test_proofs_are_counted_apart_from_n(shop: Shop) -> None:
    edition = editions.define(shop.db, shop.piece("Ilse Marwood", "Pier"), 1, proofs=2)
    assert editions.issue(shop.db, edition, None, 2, proofs=True) == [Number("proof", 1), Number("proof", 2)]
    with pytest.raises(Refused, match="no proof left"):
        editions.issue(shop.db, edition, None, 1, proofs=True)
    assert editions.issue(shop.db, edition, None, 1) == [Number("number", 1)]


@pytest.mark.parametrize(("before", "change"), [
    ("printed", "state = 'reserved'"), ("destroyed", "state = 'printed'"), ("destroyed", "state = 'reserved'"),
    ("reserved", "state = 'destroyed'"), ("printed", "line_id = NULL"), ("printed", "line_id = 2"),
    ("reserved", "line_id = 2"), ("destroyed", "line_id = 2")])
def test_the_database_itself_refuses_what_no_print_can_do(shop: Shop, before: str, change: str) -> None:
    edition, order = _harbour(shop, limit=2)
    order(status="requested" if before == "reserved" else "printed")
    order()
    if before == "destroyed":
        editions.destroy(shop.db, edition, [Number("number", 1)], "torn")
    with pytest.raises(sqlite3.IntegrityError), transaction(shop.db):
        shop.db.execute(f"UPDATE edition_print SET {change} WHERE number = 1")
    assert [(one.number, one.state, one.line_id) for one in recorded.issued(shop.db, edition)] == [
        (1, before, 1), (2, "reserved", 2)]


def test_the_database_itself_lets_no_print_begin_destroyed(shop: Shop) -> None:
    edition, _ = _harbour(shop)
    with pytest.raises(sqlite3.IntegrityError, match="made before"), transaction(shop.db):
        shop.db.execute("INSERT INTO edition_print (edition_id, series, number, nth, state, issued, destroyed, reason)"
                        " VALUES (?, 'number', 1, 1, 'destroyed', '', '2026-01-01', 'torn')", [edition])
    assert recorded.issued(shop.db, edition) == []


def test_as_many_numbers_are_named_as_prints_are_ordered(shop: Shop) -> None:
    edition, order = _harbour(shop, limit=5)
    with pytest.raises(Refused, match="for 1 prints"):
        order(numbers=[Number("number", 1), Number("number", 2)])
    assert recorded.issued(shop.db, edition) == [] and rows.order_lines(shop.db) == []


def test_proofs_are_never_fewer_than_are_out(shop: Shop) -> None:
    piece = shop.piece("Ilse Marwood", "Pier")
    edition = editions.define(shop.db, piece, 5, proofs=3)
    editions.issue(shop.db, edition, None, 2, proofs=True)
    with pytest.raises(Refused, match="out already"):
        editions.define(shop.db, piece, 5, proofs=1)
    assert editions.get_edition(shop.db, edition).proofs == 3
    assert editions.define(shop.db, piece, 5, proofs=2) == edition
    assert editions.get_edition(shop.db, edition).proofs == 2


def test_a_number_that_was_never_issued_is_not_destroyed(shop: Shop) -> None:
    edition, _ = _harbour(shop)
    with pytest.raises(Refused, match="never issued"):
        editions.destroy(shop.db, edition, [Number("number", 1)], "torn")
    assert recorded.issued(shop.db, edition) == []


def test_no_print_is_destroyed_without_a_reason(shop: Shop) -> None:
    edition, order = _harbour(shop)
    order(status="printed")
    with pytest.raises(Refused, match="reason"):
        editions.destroy(shop.db, edition, [Number("number", 1)], " ")
    assert [print_.state for print_ in recorded.issued(shop.db, edition)] == ["printed"]


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
    line = repeat.record(shop.db, proposal, quantity=5)
    assert line is not None and line.numbers == "" and line.edition_id is None
    with pytest.raises(Refused):
        repeat.record(shop.db, proposal, quantity=1, numbers=[Number("number", 1)])
    assert recorded.issued(shop.db, edition) == []


def _harbour(shop: Shop, limit: int = 1) -> tuple[int, Callable[..., str]]:
    piece = shop.piece("Ilse Marwood", "Pier")
    edition = editions.define(shop.db, piece, limit)

    def order(**given: object) -> str:
        proposal = repeat.propose(shop.db, shop.home, piece_id=piece, width_mm=300, height_mm=400, afresh=True)
        line = repeat.record(shop.db, proposal, quantity=1, **given)  # type: ignore[arg-type]
        assert line is not None
        return line.number

    return edition, order


def test_a_number_with_a_living_print_is_never_printed_again(shop: Shop) -> None:
    """Number 1 destroyed; its replacement recorded as destroyed; replaced again, printed; the first one cancelled."""
    edition, order = _harbour(shop)
    one = [Number("number", 1)]
    order(status="printed")
    editions.destroy(shop.db, edition, one, "torn")
    first = order(replacing=one)
    editions.destroy(shop.db, edition, one, "torn again")
    order(replacing=one, status="printed")
    statuses.set_status(shop.db, first, "cancelled")
    with pytest.raises(Refused, match="not recorded as destroyed"):
        order(replacing=one)
    (shown,) = recorded.issued(shop.db, edition)
    assert (shown.state, shown.lost) == ("printed", False)


def test_prints_that_exist_keep_their_numbers_whatever_the_order_is_set_to(shop: Shop) -> None:
    edition, order = _harbour(shop, 2)
    number = order()
    for status in ("printed", "requested", "cancelled"):
        statuses.set_status(shop.db, number, status)
    assert [p.state for p in recorded.issued(shop.db, edition)] == ["printed"]


def test_cancelling_an_approved_order_frees_its_numbers(shop: Shop) -> None:
    edition, order = _harbour(shop)
    number = order(status="requested")
    statuses.set_status(shop.db, number, "approved")
    statuses.set_status(shop.db, number, "cancelled")
    assert recorded.issued(shop.db, edition) == []
    assert order() != number
