"""Alike: two scans that may show one piece, laid on each other, with the evidence and one key for the verdict."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar

from rich.text import Text
from textual.binding import BindingType
from textual.containers import Container, Horizontal, VerticalScroll
from textual.content import Content
from textual.timer import Timer
from textual.widget import Widget
from textual.widgets import Static

from catalogue.errors import Refused
from catalogue.indexing.corrections import Correction
from catalogue.likeness.service import Pair, groups
from catalogue.operations import correcting
from catalogue.operations.judging import Judged, judge_pairs, summarize
from catalogue.records import files, likenesses
from catalogue.records.database import Database
from catalogue.records.likenesses import ComparedScan
from catalogue.records.paths import display_path
from catalogue.screens.background.jobs import notice, start_comparing
from catalogue.screens.background.tasks import run_in_thread
from catalogue.screens.dialogs.confirm import ConfirmDialog
from catalogue.screens.keys import bindings
from catalogue.screens.page import Page
from catalogue.screens.pictures.alignment import AlignedPair, align_pair
from catalogue.screens.pictures.picture import Picture
from catalogue.screens.texts.facts import line, lines
from catalogue.screens.texts.formats import cell, counted, safe, size_cm
from catalogue.screens.widgets.row_table import Column, RowTable

BLINK = 0.7             # seconds each picture stands
VIEWS = ("side by side", "blink", "difference", "where it lies")
SIGNS = {"confirmed": "✓", "rejected": "✗", "": "?"}


@dataclass(frozen=True, slots=True)
class PairRow:
    """One pair with the names it is known by. ``why``: why it stands apart from its group, if it does."""

    pair: Pair
    one: ComparedScan
    two: ComparedScan
    first: str
    second: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class _Done:
    """A verdict, or a merge, of this sitting. ``number`` is the pair's, or the statement's."""

    kind: str
    number: int
    before: str = ""
    after: str = ""


def pair_rows(db: Database) -> list[PairRow]:
    """Every pair: those without a verdict first, the surest of them first."""
    similar_groups = groups(db)
    why = {pair.id: reason for pair, reason in similar_groups.refused}
    pairs = [*(pair for group in similar_groups.groups for pair in group.pairs), *similar_groups.apart,
             *(p for p, _ in similar_groups.refused)]
    known = likenesses.compared_scans(db, {i for p in pairs for i in (p.a_scan_id, p.b_scan_id)})
    titles = likenesses.piece_titles(db, {s.piece_id for s in known.values() if s.piece_id is not None})

    def name(scan: ComparedScan) -> str:
        return f"{titles.get(scan.piece_id or 0, 'no piece yet')} ({scan.role})"

    unique = {pair.id: pair for pair in pairs}.values()
    rows = [PairRow(p, known[p.a_scan_id], known[p.b_scan_id], name(known[p.a_scan_id]), name(known[p.b_scan_id]),
                    why.get(p.id, "")) for p in unique if p.a_scan_id in known and p.b_scan_id in known]
    return sorted(rows, key=lambda row: (bool(row.pair.verdict), -row.pair.evidence.sure, row.pair.id))


class AlikePage(Page):
    """The pairs on top, the two pictures below, the evidence beside them."""

    PLACE = "alike"
    MODE = "alike"
    FOLLOWS = False  # the list shall not move under who judges it
    BINDINGS: ClassVar[list[BindingType]] = bindings("alike")

    def __init__(self) -> None:
        super().__init__()
        self._rows: list[PairRow] = []
        self._all = False
        self._view = 0
        self._laid: AlignedPair | None = None
        self._second_shown = False
        self._blinking: Timer | None = None
        self._done: list[_Done] = []    # what may be taken back, the last one last

    def body(self) -> Iterable[Widget]:
        yield RowTable[PairRow]([Column("", 1), Column("Sure", 4, right=True), Column("What", 17), Column("This", 0),
                                 Column("and this", 0)], id="pairs")
        yield Container(
            Horizontal(Picture(id="pair-one", below=1), Picture(id="pair-two", below=1), id="pair-pictures"),
            VerticalScroll(Static("", id="pair-words", markup=False), can_focus=False, id="pair-scroll"),
            id="pair")

    def on_mount(self) -> None:
        self._blinking = self.set_interval(BLINK, self._blink)
        self._load()
        self.query_one(RowTable).focus()

    def catalogue_changed(self) -> None:
        self._load(keep=True)

    def _load(self, *, keep: bool = False) -> None:
        def show(rows: list[PairRow]) -> None:
            self._rows = rows
            self._list(keep=keep)

        run_in_thread(self, self.catalogue_app.threads["alike"], pair_rows, show, group="pairs",
                      holds=self.query_one(RowTable))

    def _list(self, *, keep: bool) -> None:
        open_ = [row for row in self._rows if not row.pair.verdict]
        table = self.query_one(RowTable)
        if self._all:
            table.set_title(f"Pairs, {counted(len(open_), 'open one')}", len(self._rows))
        else:
            table.set_title("Pairs to judge", len(open_))
        table.show_rows(self._rows if self._all else open_, self._cells, lambda row: row.pair.id, keep=keep)

    @staticmethod
    def _cells(row: PairRow) -> list[Text]:
        return [cell(SIGNS[row.pair.verdict]), cell(f"{row.pair.evidence.sure:.0%}", right=True),
                cell(row.pair.evidence.relation.value), cell(row.first), cell(row.second)]

    @property
    def _row(self) -> PairRow | None:
        return self.query_one(RowTable).row_to_act_on

    def on_row_table_highlighted(self, event: RowTable.Highlighted) -> None:
        row: PairRow | None = event.row
        self._laid = None
        if row is None:
            words = "No pairs are waiting for a verdict." if self._rows else \
                "No pairs yet. Press i to compare the scans with each other."
            self.query_one("#pair-words", Static).update(words)
            for picture in self.query(Picture):
                picture.show(None, "")
            return

        def gather(db: Database) -> Content:
            return pair_words(row, [_place(db, row.one.id), _place(db, row.two.id)])

        self.ask(gather, self.query_one("#pair-words", Static).update, group="words")
        preview_a, preview_b = self.catalogue_app.preview(row.one.sha256), self.catalogue_app.preview(row.two.sha256)
        if preview_a is None or preview_b is None or not (preview_a.exists() and preview_b.exists()):
            self.query_one("#pair-one", Picture).show(None, "A preview is missing: index these scans again")
            self.query_one("#pair-two", Picture).show(None, "")
            return
        evidence = row.pair.evidence
        run_in_thread(self, self.catalogue_app.plain_threads["aligning"],
            lambda _: align_pair(preview_a, preview_b, evidence.matrix, evidence.size_a, evidence.size_b), self._show,
            group="laid")

    def _show(self, aligned: AlignedPair) -> None:
        self._laid = aligned
        self._draw()

    def _draw(self) -> None:
        aligned = self._laid
        if aligned is None:
            return
        picture_a, picture_b = self.query_one("#pair-one", Picture), self.query_one("#pair-two", Picture)
        picture_b.display = self._view == 0
        self.query_one("#pair-pictures").border_title = VIEWS[self._view]
        if self._view == 0:
            picture_a.show(aligned.one, shape=aligned.shape)
            picture_b.show(aligned.two, shape=aligned.shape)
        elif self._view == 1:
            self.query_one("#pair-pictures").border_title = f"blink: {'and this' if self._second_shown else 'this'}"
            picture_a.show(aligned.two if self._second_shown else aligned.one, shape=aligned.shape)
        elif self._view == 2:
            picture_a.show(aligned.difference, shape=aligned.shape)
        else:
            picture_a.show(aligned.whole, shape=aligned.whole_shape, marks=(aligned.where,))

    def _blink(self) -> None:
        if self._view == 1 and self.app.screen is self:
            self._second_shown = not self._second_shown
            self._draw()

    def action_view(self, number: int) -> None:
        """Side by side, blink, difference, or where the one lies on the other."""
        self._view = 0 if number == self._view else number
        self._draw()

    def action_next_view(self) -> None:
        self._view = (self._view + 1) % len(VIEWS)
        self._draw()

    def action_all(self) -> None:
        table = self.query_one(RowTable)
        if table.highlighted is not None:
            table.expect_removal(table.highlighted)  # it may be listed in the one form only
        self._all = not self._all
        self._list(keep=True)

    def action_compare(self) -> None:
        start_comparing(self.catalogue_app)

    def action_confirm(self) -> None:
        self._judge("confirmed")

    def action_reject(self) -> None:
        self._judge("rejected")

    def _judge(self, verdict: str) -> None:
        row = self._row
        if row is None:
            return
        what = f"{verdict}: {safe(row.first)} and {safe(row.second)}"

        def judged(done: tuple[Judged, ...]) -> None:
            self.query_one(RowTable).expect_removal(row)
            changed = [one for one in done if one.before != verdict]
            self._done += [_Done("verdict", one.pair.id, one.before, verdict) for one in changed]
            self.catalogue_app.say(notice([*summarize(done), *(["u to undo."] if changed else [])]))
            self.catalogue_app.changed()

        def failed(error: Exception) -> None:
            self.catalogue_app.failed(error, not_done=what)
            self._load(keep=True)  # the verdict may be another seat's by now

        self.catalogue_app.writes.add(what, lambda db: judge_pairs(db, [row.pair.id], verdict, seen=row.pair.verdict),
                                      judged,
                             holds=self, failed=failed)

    def action_undo(self) -> None:
        """Take the last verdict or merge of this sitting back."""
        if not self._done:
            self.catalogue_app.say("Nothing to undo.")
            return
        last = self._done.pop()
        what = f"undo the last {last.kind}"

        def job(db: Database) -> list[str]:
            if last.kind == "merge":
                return correcting.summarize(correcting.undo_statement(db, last.number))
            return summarize(judge_pairs(db, [last.number], last.before, seen=last.after))

        def done(said: list[str]) -> None:
            self.catalogue_app.say(notice(said))
            self.catalogue_app.changed()

        def failed(error: Exception) -> None:
            if isinstance(error, Refused):
                self._load(keep=True)  # changed since by another seat: that is not ours to take back
            else:
                self._done.append(last)
            self.catalogue_app.failed(error, not_done=what)

        self.catalogue_app.writes.add(what, job, done, holds=self, failed=failed)

    def action_merge(self) -> None:
        """Merge the two pieces."""
        row = self._row
        if row is None:
            return
        keep, gone = row.two.piece_id, row.one.piece_id
        if keep is None or gone is None or keep == gone:
            self.catalogue_app.say("Both already belong to the same piece." if keep == gone else
                          "One of them has no piece yet; confirming files it under the other's.")
            return

        def answered(yes: bool | None) -> None:
            if yes:
                self.catalogue_app.writes.add(f"merge {safe(row.first)} into {safe(row.second)}",
                                     lambda db: correcting.merge_pieces(db, keep, gone), merged, holds=self)

        def merged(change: Correction) -> None:
            self._done += [_Done("merge", change.id)] if change.id else []
            self.catalogue_app.say(notice([*correcting.summarize(change),
                                           *(["u to undo."] if change.id else [])]))
            self.catalogue_app.changed()

        self.app.push_screen(ConfirmDialog("Merge these two pieces?",
                                           f"{safe(row.first)}\ngoes into\n{safe(row.second)}\n\n"
                                      "Its scans, orders and editions move too; this can be undone.", yes="Merge",
                                      careful=True), answered)

    def action_open(self) -> None:
        self._open(self._row)

    def _open(self, row: PairRow | None) -> None:
        piece = (row.two.piece_id or row.one.piece_id) if row else None
        if piece is None:
            self.catalogue_app.say("Neither has a piece yet.")
        else:
            self.catalogue_app.open_piece(piece)

    def on_row_table_selected(self, event: RowTable.Selected) -> None:
        self._open(event.row)


def _place(db: Database, scan_id: int) -> str:
    """One place a scan lies in."""
    scan_files = files.of_scan(db, scan_id)
    return f"{scan_files[0].store}: {display_path(scan_files[0].path)}" if scan_files else "no file on record"


def pair_words(row: PairRow, places: list[str]) -> Content:
    """The evidence, each figure with what it means."""
    e = row.pair.evidence
    verdict = {"confirmed": ("✓ confirmed", "$success"), "rejected": ("✗ rejected", "$error"),
               "": ("? no verdict yet", "$warning")}[row.pair.verdict]
    said = [line(("This is ", "$quiet"), (e.relation.value, "bold"), (f" {e.sure:.0%} sure   ", "$quiet"), verdict,
                 (f"   pair {row.pair.id}", "$quiet"))]
    said += [line(("! ", "bold $warning"), row.why)] if row.why else []
    said += [line((f"· {reason}", "$quiet")) for reason in e.reasons]
    for name, scan, place in (("This", row.one, places[0]), ("And this", row.two, places[1])):
        size = size_cm(scan.width / scan.ppi_x * 25.4, scan.height / scan.ppi_x * 25.4) \
            if scan.width and scan.height and scan.ppi_x else "size unknown"
        said.append(line((f"{name}  ", "bold"), f"{scan.width} × {scan.height} px, {scan.bits or '?'} bit, {size}"))
        said.append(line((place, "$quiet")))
    figures = [f"{e.overlap_a:.0%} of this lies on {e.overlap_b:.0%} of that" if e.overlap_a else "",
               f"turned {e.rotation:.1f}°" if abs(e.rotation) >= 0.05 else "not turned",
               f"scale {e.scale:.3f}", f"structure agrees {e.correlation:.2f}" if e.correlation else "",
               f"colour ΔE00 {e.delta_e_median:.1f}" if e.delta_e_median is not None else "",
               f"this one has {e.detail_ratio:.2f}× the pixels" if e.detail_ratio else ""]
    said.append(line(", ".join(filter(None, figures))))
    return lines(said)
