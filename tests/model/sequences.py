"""Acts that chance seldom puts one after the other, as one step each: what they break together would stay unseen."""

from fileside import LOOSE, LOOSE_PICTURE, a_number
from hypothesis import strategies as st
from hypothesis.stateful import rule
from keeping import KeepingRules
from ordering import a_status
from stating import NAMES

from catalogue.records import likenesses


class SequenceRules(KeepingRules):
    """Sequences made of the other rules, each beside the model as those are."""

    @rule(number=a_number, count=st.integers(1, 3), whole=st.booleans())
    def order_numbered_prints_and_cancel(self, number: int, count: int, whole: bool) -> None:
        """By the order, or by its only line; the numbers are free again."""
        order = self._order_of_an_edition(number, count, "requested")
        if order is None:
            return
        if whole:
            self.move_order(sorted(self.said.ids("order")).index(order), "cancelled")
        else:
            (line,) = self.said.lines_of(order)
            self.cancel_line(sorted(self.said.ids("line")).index(line))

    def _order_of_an_edition(self, number: int, count: int, status: str) -> str | None:
        """An order of the ``number``-th piece, in an edition; None where there is no piece or no number left."""
        names = self.one_of(number, self.said.pieces())
        if names is None:
            return None
        if not self.said.editions_of(self.piece_id(names)):
            self.open_edition(number, 9, 1)
        before = set(self.said.ids("order"))
        self.order(number, count, False, status, False)
        return next(iter(set(self.said.ids("order")) - before), None)

    @rule(number=a_number, went=st.integers(1, 3), wanted=st.integers(1, 3), status=a_status)
    def hand_over_part_then_correct_and_cancel(self, number: int, went: int, wanted: int, status: str) -> None:
        """Of three prints some go; then fewer are wanted, or the line is cancelled, or the first is taken back."""
        order = self._order_of_an_edition(number, 3, status)
        if order is None:
            return
        (line,) = self.said.lines_of(order)
        at, before = sorted(self.said.ids("line")).index(line), set(self.said.log)
        self.hand_over(at, went)
        events = sorted(set(self.said.log) - before)
        piece = sorted(self.said.pieces()).index(self.said.names(self.said.get("line", line, "piece")))
        self.correct_line(at, piece, wanted)
        self.hand_over(at, 1)
        if events:
            self.undo(sorted(self.said.log).index(events[0]), newest=False)
        self.cancel_line(at)
        self.move_order(sorted(self.said.ids("order")).index(order), "printed")

    @rule(number=a_number, which=st.integers(0, 2), status=a_status)
    def undo_one_of_three_orders_and_order_again(self, number: int, which: int, status: str) -> None:
        """No number of an order that stands is given again."""
        events = []
        for _ in range(3):
            before = set(self.said.log)
            self.order(number, 1, False, status, False)
            events += sorted(set(self.said.log) - before)[-1:]
        if len(events) == 3:
            self.undo(sorted(self.said.log).index(events[which]), newest=False)
            self.order(number, 1, False, status, False)

    @rule(number=a_number)
    def lose_a_current_master(self, number: int) -> None:
        """Every file of it is deleted, and the stores are indexed: another master of the piece takes its place."""
        names = self.one_of(number, self.said.pieces())
        here = [c for c in self.said.guesses if names and self.said.places(c) == {names}]
        current = self.current(names, here) if names else None
        if current is None or len([c for c in here if self.said.role(c) == "master"]) < 2:
            return
        for name, store in self.reference.stores.items():
            for path in [path for path, lying in store.disk.items() if lying.content == current]:
                self.at(name, path).unlink()
                del store.disk[path]
        self.look_at_all("index")

    @rule(other=a_number, verdict=st.sampled_from(["rejected", "rejected", "confirmed"]))
    def judge_the_scan_that_only_likeness_files(self, other: int, verdict: str) -> None:
        """A scan whose path says nothing is found surely alike to another; a person judges the pair."""
        main = self.reference.stores["main"]
        if LOOSE_PICTURE not in self.said.guesses and main.here and not main.retired:
            self.put("main", LOOSE, LOOSE_PICTURE)
            self.look("main", "index")
        if LOOSE_PICTURE not in self.said.guesses:
            return
        self.found_alike(sorted(self.said.guesses).index(LOOSE_PICTURE), other, True)
        for nth, row in enumerate(likenesses.listed(self.db)):
            if LOOSE_PICTURE in (NAMES[row.a_sha256], NAMES[row.b_sha256]) and not row.verdict:
                self.judge_pair(nth, verdict)
                return
