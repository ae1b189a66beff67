"""The ledger through its services beside :mod:`stated`: editions, orders, repeats, and the life of each number."""

from hypothesis import strategies as st
from hypothesis.stateful import invariant, rule
from stated import Names, RefusedByModel, Stated
from stating import StatementRules, a_number

from catalogue.ledger import editions, handovers, repeat, statuses
from catalogue.ledger.proposal import Proposal
from catalogue.records import editions as edition_rows
from catalogue.records import handovers as handover_rows
from catalogue.records import orders
from catalogue.records.numbers import Number, numbers_text

DAY = "2026-02-01"
a_status = st.sampled_from(["requested", "requested", "approved", "printed", "collected"])
a_series = st.sampled_from(["number", "number", "proof"])


class LedgerRules(StatementRules):
    """What may be ordered, and what may become of it."""

    @rule(number=a_number, limit=st.integers(2, 9), proofs=st.integers(0, 3))
    def open_edition(self, number: int, limit: int, proofs: int) -> None:
        names = self.one_of(number, self.said.pieces())
        if names is None:
            return
        piece = self.piece_id(names)

        def model(said: Stated, new: int) -> None:
            said.keep_piece(piece, names)
            known = min(said.editions_of(piece), default=None)
            if known is None:
                said.put("edition", 1 + max(said.ids("edition"), default=0), piece=piece, limit=limit, proofs=proofs,
                         closed="")
                return
            if limit != said.get("edition", known, "limit") and said.prints(known, "number"):
                raise RefusedByModel("numbers are out")
            if proofs < max(said.prints(known, "proof"), default=0):
                raise RefusedByModel("that proof is out")
            said.put("edition", known, limit=limit, proofs=proofs)

        self.state(model, lambda: editions.define(self.db, piece, limit, proofs=proofs))

    @rule(number=a_number)
    def close_edition(self, number: int) -> None:
        edition = self.one_of(number, self.said.ids("edition"))
        if edition is not None and number % 5 == 0:
            self.state(lambda said, new: said.put("edition", edition, closed=DAY),
                       lambda: editions.close(self.db, edition, DAY))

    @rule(number=a_number, count=st.integers(1, 3), proofs=st.booleans(), status=a_status, again=st.booleans())
    def order(self, number: int, count: int, proofs: bool, status: str, again: bool) -> None:
        """A first print of a piece, or with ``again`` one like an earlier line."""
        last = self.one_of(number, self.said.ids("line")) if again else None
        names = self.one_of(number, self.said.pieces()) if last is None else \
            self.said.names(self.said.get("line", last, "piece"))
        if names is None:
            return
        piece = self.piece_id(names)
        self.record(repeat.propose(self.db, self.home, line_id=last, piece_id=piece, width_mm=300, height_mm=400,
                                   afresh=last is None), names, last, count, proofs, status)

    @rule(number=a_number, count=st.integers(1, 3), status=a_status)
    def order_from_both_seats(self, number: int, count: int, status: str) -> None:
        """The other seat has a question open; this one orders the same meanwhile; then the other records."""
        names = self.one_of(number, self.said.pieces())
        if names is not None:
            asked = repeat.propose(self.other, self.home, piece_id=self.piece_id(names), width_mm=300, height_mm=400,
                                   afresh=True)
            self.order(number, 1, False, "requested", False)
            self.db, self.other = self.other, self.db
            self.record(asked, names, None, count, False, status)

    def record(self, proposal: Proposal, names: Names, last: int | None, count: int, proofs: bool, status: str) -> None:
        piece = self.piece_id(names)
        edition = min(self.said.editions_of(piece), default=None)
        proofs = proofs and edition is not None
        line, order = 1 + max(self.said.ids("line"), default=0), self.said.next_order()

        def model(said: Stated, new: int) -> None:
            said.keep_piece(piece, names)
            said.put("order", order, status=status, buyer="")
            said.put("line", line, order=order, piece=piece, quantity=count, edition=edition, repeats=last,
                     cancelled=False)
            if edition is not None:
                said.issue(edition, "proof" if proofs else "number", count, line, status in ("printed", "collected"))

        def service() -> None:
            made = repeat.record(self.db, proposal, quantity=count, proofs=proofs, status=status, placed="2026-01-02")
            assert made.id == line

        self.state(model, service)

    @rule(number=a_number, status=st.sampled_from(orders.STATUSES))
    def move_order(self, number: int, status: str) -> None:
        order = self.one_of(number, self.said.ids("order"))
        if order is not None:
            self.state(lambda said, new: said.set_status(order, status),
                       lambda: statuses.set_status(self.db, order, status))

    @rule(number=a_number)
    def cancel_line(self, number: int) -> None:
        line = self.one_of(number, self.said.ids("line"))
        if line is not None:
            self.state(lambda said, new: said.cancel_line(line), lambda: statuses.cancel_line(self.db, line))

    @rule(number=a_number, count=st.integers(1, 3))
    def hand_over(self, number: int, count: int) -> None:
        line = self.one_of(number, self.said.ids("line"))
        if line is not None:
            self.state(lambda said, new: said.hand_over(line, count),
                       lambda: handovers.hand_over(self.db, line, quantity=count, day=DAY))

    @rule(number=a_number, buyer=st.sampled_from(["", "Lena Fjord", "Oskar Blom"]))
    def correct_order(self, number: int, buyer: str) -> None:
        order = self.one_of(number, self.said.ids("order"))
        if order is not None:
            self.state(lambda said, new: said.put("order", order, buyer=buyer),
                       lambda: statuses.correct(self.db, order, {"buyer": buyer}))

    @rule(number=a_number, to=a_number, count=st.integers(1, 3))
    def correct_line(self, number: int, to: int, count: int) -> None:
        """What a line is of, and how many."""
        line, names = self.one_of(number, self.said.ids("line")), self.one_of(to, self.said.pieces())
        if line is None or names is None:
            return
        piece, order = self.piece_id(names), self.said.get("line", line, "order")

        def model(said: Stated, new: int) -> None:
            if said.get("line", line, "piece") != piece:
                said.keep_piece(piece, names)
            said.correct_line(line, piece, count)

        self.state(model, lambda: statuses.correct(self.db, order, {}, line_id=line,
                                                   line={"piece_id": piece, "quantity": count}))

    @rule(number=a_number, series=a_series, which=st.integers(1, 9))
    def destroy(self, number: int, series: str, which: int) -> None:
        edition = self.one_of(number, self.said.ids("edition"))
        if edition is not None:
            which = self.one_of(which, self.said.prints(edition, series)) or which
            self.state(lambda said, new: said.destroy(edition, series, which, DAY),
                       lambda: editions.destroy(self.db, edition, [Number(series, which)], "torn", day=DAY))

    @rule(number=a_number, series=a_series, which=st.integers(1, 9), status=a_status)
    def replace(self, number: int, series: str, which: int, status: str) -> None:
        """A number printed anew: mostly one whose print was destroyed."""
        edition = self.one_of(number, self.said.ids("edition"))
        if edition is None:
            return
        gone = {n for n, nth in self.said.prints(edition, series).items()
                if self.said.get("print", (edition, series, n, nth), "state") == "destroyed"}
        which = self.one_of(which, gone) or which
        piece = self.said.get("edition", edition, "piece")
        names = self.said.names(piece)
        line, order = 1 + max(self.said.ids("line"), default=0), self.said.next_order()
        if min(self.said.editions_of(piece)) != edition:
            return

        def model(said: Stated, new: int) -> None:
            said.put("order", order, status=status, buyer="")
            said.put("line", line, order=order, piece=piece, quantity=1, edition=edition, cancelled=False)
            said.replace(edition, series, which, line, status in ("printed", "collected"))

        def service() -> None:
            proposal = repeat.propose(self.db, self.home, piece_id=self.piece_id(names), width_mm=300, height_mm=400,
                                      afresh=True)
            repeat.record(self.db, proposal, quantity=1, replacing=[Number(series, which)], status=status,
                          placed="2026-01-02")

        self.state(model, service)

    # -- comparing -----------------------------------------------------------------------------------------------

    @invariant()
    def ledger_agrees(self) -> None:
        if not hasattr(self, "said"):
            return
        said = self.said
        assert {o.number: (o.status, o.buyer) for o in orders.every(self.db)} == {
            o: (said.order_status(o), said.get("order", o, "buyer")) for o in said.ids("order")}
        numbers: dict[int, set[tuple[str, int]]] = {}
        for edition, series, number, nth in said.ids("print"):
            numbers.setdefault(said.get("print", (edition, series, number, nth), "line"), set()).add((series, number))
        assert {x.id: (x.number, (x.artist, x.title), x.quantity, x.status, x.edition_id, x.numbers, x.handed,
                       x.order_status)
                for x in orders.all_lines(self.db)} == {
            x: (said.get("line", x, "order"), said.names(said.get("line", x, "piece")), said.get("line", x, "quantity"),
                said.line_status(x), said.get("line", x, "edition"), numbers_text(numbers.get(x, ())), said.handed(x),
                said.order_status(said.get("line", x, "order")))
            for x in said.ids("line")}
        assert {each.id: (each.line_id, each.quantity, each.numbers)
                for of_line in handover_rows.by_line(self.db).values() for each in of_line} == {
            h: (said.get("handover", h, "line"), said.get("handover", h, "quantity"),
                numbers_text(key[1:3] for key in said.get("handover", h, "prints"))) for h in said.ids("handover")}
        assert {e.id: (e.piece_id, e.size_limit, e.proofs, e.closed) for e in edition_rows.listed(self.db)} == {
            e: (said.get("edition", e, "piece"), said.get("edition", e, "limit"), said.get("edition", e, "proofs"),
                said.get("edition", e, "closed") or "") for e in said.ids("edition")}
        assert {tuple(row[:4]): tuple(row[4:]) for row in self.db.execute(
            "SELECT edition_id, series, number, nth, line_id, state, destroyed FROM edition_print")} == {
            p: (said.get("print", p, "line"), said.get("print", p, "state"), said.get("print", p, "day") or "")
            for p in said.ids("print")}
