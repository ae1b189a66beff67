"""Alike: scans that may show one piece, overlaid, with the evidence and one key for the verdict."""

from collections.abc import Callable, Iterable, Sequence

from textual.containers import Container, Horizontal, VerticalScroll
from textual.timer import Timer
from textual.widget import Widget
from textual.widgets import Static

from catalogue.errors import Refused
from catalogue.indexing.corrections import Correction
from catalogue.operations import correcting, judging
from catalogue.operations.judging import Filing, PieceInQuestion, Verdict
from catalogue.records.database import Database
from catalogue.screens.actions import opening
from catalogue.screens.background.jobs import notice, start_comparing
from catalogue.screens.dialogs.same_piece import ask_one_piece, ask_which_stays
from catalogue.screens.page import Page
from catalogue.screens.pictures.alignment import AlignedPair, align_pair
from catalogue.screens.pictures.picture import Picture
from catalogue.screens.texts import alike as texts
from catalogue.screens.texts.alike import GroupRow, PairRow, Row, scan_names
from catalogue.screens.texts.formats import counted
from catalogue.screens.widgets.row_drawing import Column
from catalogue.screens.widgets.row_table import RowTable

NOTHING_TO_UNDO = "Nothing to undo."
BLINK = 0.7             # seconds each picture is shown
VIEWS = ("side by side", "blink", "difference", "where it lies")


class AlikePage(Page):
    """The pairs on top, the two pictures below, the evidence beside them."""

    KEY_CONTEXT = "alike"
    MODE = "alike"
    LIST = "pairs"
    FOLLOWS = False  # the list must not move while a person judges it

    def __init__(self) -> None:
        super().__init__()
        self._rows: Sequence[Row] = ()
        self._all = False
        self._opened: set[int] = set()      # groups, by the number that names them
        self._view = 0
        self._laid: AlignedPair | None = None
        self._second_shown = False
        self._blinking: Timer | None = None
        self._verdicts: list[Correction] = []   # of this session, the last one last
        self._table = RowTable[Row](
            [Column("", 1, lambda row: texts.sign_of(row, self._opened)),
             Column("Certain", 7, lambda row: f"{row.sure:.0%}", right=True), Column("What", 19, texts.what_it_is),
             Column("This", 0, lambda row: texts.indent_of(row) + row.first),
             Column("and this", 0, lambda row: row.second), Column("Filed under", 0, texts.filed_under, least=110)],
            lambda row: row.identity, id="pairs")
        self._first, self._second = Picture(id="pair-one", below=1), Picture(id="pair-two", below=1)
        self._pictures = Horizontal(self._first, self._second, id="pair-pictures")
        self._words = Static("", id="pair-words", markup=False)

    def body(self) -> Iterable[Widget]:
        yield self._table
        yield Container(self._pictures, VerticalScroll(self._words, can_focus=False, id="pair-scroll"), id="pair")

    def on_mount(self) -> None:
        self._blinking = self.set_interval(BLINK, self._blink)

    def load(self, *, keep: bool = False) -> None:
        def show(rows: tuple[Row, ...]) -> None:
            self._rows = rows
            self._list(keep=keep)

        self.ask(texts.alike_rows, show, group="pairs", thread="alike", holds=self._table)

    def _list(self, *, keep: bool) -> None:
        asked = sum(row.asked for row in self._rows)
        if self._all:
            self._table.set_title(f"Groups and pairs, {asked} to judge", len(self._rows))
        else:
            self._table.set_title("To judge", asked)
        self._table.show_rows(texts.listed_rows(self._rows, self._opened, everything=self._all), keep=keep)

    @property
    def _row(self) -> Row | None:
        return self._table.row_to_act_on

    def on_row_table_highlighted(self, event: RowTable.Highlighted) -> None:
        row: Row | None = event.row
        self._laid = None
        if row is None:
            self._words.update("No pairs are waiting for a verdict." if self._rows else
                               "No pairs yet. Press i to compare the scans with each other.")
            self._first.show(None, "")
            self._second.show(None, "")
            return
        self._words.update(texts.group_words(row) if isinstance(row, GroupRow) else texts.pair_words(row))
        shown = row.pictured
        preview_a, preview_b = (self.app.preview(scan.scan.sha256) for scan in (shown.a, shown.b))
        if preview_a is None or preview_b is None or not (preview_a.exists() and preview_b.exists()):
            self._first.show(None, "A preview is missing: index these scans again")
            self._second.show(None, "")
            return
        evidence = shown.pair.evidence
        self.ask_plain("aligning", lambda: align_pair(preview_a, preview_b, evidence.matrix, evidence.size_a,
                                                      evidence.size_b), self._show, group="laid")

    def _show(self, aligned: AlignedPair) -> None:
        self._laid = aligned
        self._draw()

    def _draw(self) -> None:
        aligned = self._laid
        if aligned is None:
            return
        self._second.display = self._view == 0
        self._pictures.border_title = VIEWS[self._view]
        if self._view == 0:
            self._first.show(aligned.first, shape=aligned.shape)
            self._second.show(aligned.second, shape=aligned.shape)
        elif self._view == 1:
            self._pictures.border_title = f"blink: {'and this' if self._second_shown else 'this'}"
            self._first.show(aligned.second if self._second_shown else aligned.first, shape=aligned.shape)
        elif self._view == 2:
            self._first.show(aligned.difference, shape=aligned.shape)
        else:
            self._first.show(aligned.whole, shape=aligned.whole_shape, marks=(aligned.where,))

    def _blink(self) -> None:
        if self._view == 1 and self.app.screen is self:
            self._second_shown = not self._second_shown
            self._draw()

    def action_view(self, number: int) -> None:
        self._view = 0 if number == self._view else number
        self._draw()

    def action_next_view(self) -> None:
        self._view = (self._view + 1) % len(VIEWS)
        self._draw()

    def action_all(self) -> None:
        if self._table.highlighted is not None:
            self._table.expect_removal(self._table.highlighted)  # it may be listed in the one form only
        self._all = not self._all
        self._list(keep=True)

    def action_compare(self) -> None:
        start_comparing(self.app)

    def action_confirm(self) -> None:
        """State that the scans of the row show one piece, and file them under it."""
        row = self._row
        if row is None:
            return
        pairs = tuple(p for p in row.pairs if p.asked) or tuple(p for p in row.pairs if not p.pair.verdict) or row.pairs
        name = f"same piece: {_named(row)}"

        def ask(filed: tuple[PieceInQuestion, ...]) -> None:
            seen_pieces = {each.piece.id for each in filed}

            def record(filing: Filing | None) -> None:
                self._record(row, name, lambda db: judging.confirm_same_piece(
                    db, [pair.pair.id for pair in pairs], filing, seen=pairs[0].pair.verdict, seen_pieces=seen_pieces))

            if len(filed) > 1 and judging.proposed_filing(filed) is None:
                self.app.push_screen(ask_which_stays(filed), lambda chosen: record(Filing(abs(chosen), chosen < 0))
                                     if chosen else None)
            elif isinstance(row, GroupRow):
                ask_one_piece(self.app, scan_names(row.members), filed, lambda: record(None))
            else:
                record(None)

        self.ask(lambda db: judging.pieces_in_question(db, [pair.pair.id for pair in pairs]), ask, group="filed",
                 holds=self)

    def action_reject(self) -> None:
        row = self._row
        if isinstance(row, GroupRow):
            self.app.say("Judge a group pair by pair: Enter opens it.")
        elif row is not None:
            self._record(row, f"not the same: {_named(row)}",
                         lambda db: judging.record_verdict(db, [row.pair.id], "rejected", seen=row.pair.verdict))

    def _record(self, row: Row, name: str, job: Callable[[Database], Verdict]) -> None:
        def recorded(done: Verdict) -> None:
            self._table.expect_removal(row)
            self._verdicts += [done.correction] if done.correction.id else []
            self.app.say(notice([*judging.summarize_verdict(done), *(["u to undo."] if done.correction.id else [])]))
            self.app.changed()

        def failed(error: Exception) -> None:
            self.app.failed(error, not_done=name)
            self.load(keep=True)  # another workstation may have changed the verdict

        self.record(name, job, recorded, failed=failed)

    def action_undo(self) -> None:
        """Undo the last verdict of this session, and what was filed with it."""
        if not self._verdicts:
            self.app.say(NOTHING_TO_UNDO)
            return
        last = self._verdicts.pop()
        name = f"undo: {last.detail}"

        def undone(done: Correction) -> None:
            self.app.say(notice(correcting.summarize(done)))
            self.app.changed()

        def failed(error: Exception) -> None:
            if isinstance(error, Refused):
                self.load(keep=True)  # changed since by another workstation, so not ours to undo
            else:
                self._verdicts.append(last)
            self.app.failed(error, not_done=name)

        self.record(name, lambda db: correcting.undo_statement(db, last.id), undone, failed=failed)

    def action_open(self) -> None:
        self._open(self._row)

    def _open(self, row: Row | None) -> None:
        if isinstance(row, GroupRow):
            self._opened ^= {row.group}
            self._list(keep=True)
        else:
            self._open_piece(row)

    def action_close_group(self) -> None:
        """From a pair back to its group, which closes; an opened group under the cursor closes too."""
        table = self._table
        row = table.highlighted
        if row is None or row.group not in self._opened:
            return
        self._opened.discard(row.group)
        table.cursor_row = next(at for at, other in enumerate(table.rows_held)
                                if isinstance(other, GroupRow) and other.group == row.group)
        self._list(keep=True)

    def action_piece(self) -> None:
        self._open_piece(self._row)

    def _open_piece(self, row: Row | None) -> None:
        if row is None:
            return
        piece = row.pictured.b.scan.piece_id or row.pictured.a.scan.piece_id
        if piece is None:
            self.app.say("Neither has a piece yet.")
        else:
            opening.open_piece(self.app, piece)



def _named(row: Row) -> str:
    if isinstance(row, PairRow):
        return f"{row.first} and {row.second}"
    return f"{scan_names(row.members[:1])[0]} and {counted(len(row.members) - 1, 'more file')}"
