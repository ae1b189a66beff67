"""One piece: its picture, sizes, scans and where they are, orders and what they were printed from."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from textual.containers import Container, Vertical, VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from catalogue.errors import GONE
from catalogue.operations.correcting import choose_current_master
from catalogue.records import pieces
from catalogue.records.database import Database
from catalogue.records.finding_kinds import DAMAGE_KINDS
from catalogue.records.orders import Line
from catalogue.screens.actions import repeating
from catalogue.screens.actions.correcting import announce_correction, edit_pieces, edit_scans
from catalogue.screens.actions.files import FileActions
from catalogue.screens.background.jobs import panel_text, start_recipe
from catalogue.screens.dialogs.capture_plan import CapturePlanDialog
from catalogue.screens.dialogs.confirm import confirm
from catalogue.screens.dialogs.correction_forms import new_edition_form
from catalogue.screens.dialogs.edition_numbers import show_numbers
from catalogue.screens.pages.piece_view import PieceView, ScanView, piece_view
from catalogue.screens.pictures.picture import Picture
from catalogue.screens.texts.facts import edition_words, piece_words, prints_words, scan_words
from catalogue.screens.texts.formats import counted, day, file_name, part_state, size_cm
from catalogue.screens.widgets.row_drawing import Column
from catalogue.screens.widgets.row_table import RowTable

if TYPE_CHECKING:
    from catalogue.operations.print_recipes import RecipeProposal

FROM_SIGNS = {"current master": "=", "not on record": "?", "not in the catalogue": "✗"}


class PiecePage(FileActions):
    """Left the picture with its sizes; right scans, orders, editions."""

    KEY_CONTEXT = "piece"
    LIST = "scans"

    def __init__(self) -> None:
        super().__init__()
        self.piece_id = 0
        self._view: PieceView | None = None
        self._asked: str | None = None      # the scan that was looked for
        self._picture = Picture(id="piece-picture", below=11)
        self._scans = RowTable[ScanView](
            [Column("", 1, sign_of), Column("Role", 10, lambda row: "current" if row.current else row.scan.role),
             Column("File", 0, scan_name), Column("Where", 10, held_text),
             Column("Pixels", 13, lambda row: f"{row.scan.width} × {row.scan.height}" if row.scan.width else "–",
                    least=70),
             Column("Scanned", 11, lambda row: day(row.scan.captured, self.app.day_form), least=58)],
            lambda row: row.scan.id, id="scans")
        self._orders = RowTable[Line](
            [Column("Date", 11, lambda row: day(row.placed, self.app.day_form)),
             Column("Qty", 3, lambda row: row.quantity, right=True),
             Column("Size", 14, lambda row: size_cm(row.width_mm, row.height_mm)),
             Column("Medium", 0, lambda row: row.medium), Column("Buyer", 0, lambda row: row.buyer, least=76),
             Column("Numbers", 12, lambda row: row.numbers, least=92),
             Column("State", 9, part_state, least=66),
             Column("", 1, lambda row: FROM_SIGNS.get(self._printed_from(row), "≠"))],
            lambda row: row.id, id="orders")
        self._words, self._prints, self._scan_words, self._order_words, self._edition_words = (
            Static("", id=name, markup=False)
            for name in ("piece-words", "piece-prints", "scan-words", "order-words", "edition-words"))

    def body(self) -> Iterable[Widget]:
        yield Container(
            Vertical(self._picture, self._words, self._prints, id="piece-left"),
            VerticalScroll(self._scans, self._scan_words, self._orders, self._order_words, self._edition_words,
                           id="piece-right", can_focus=False),
            id="piece")

    def stores_changed(self) -> None:
        self.load(keep=True)

    def show(self, view: PieceView, sha256: str | None = None) -> None:
        """Show a piece from its top, with the cursor on that scan if the piece has it."""
        self.workers.cancel_group(self, "view")  # what was asked about the piece before
        self.piece_id, self._view, self._asked = view.piece.id, view, sha256
        if self.is_mounted:
            self._picture.show(None, "")  # that of the piece before would be drawn, and sent, once more
            self._begin()

    def _begin(self) -> None:
        if self._view is not None:
            self._show(self._view, keep=False)
        scans = self._scans
        scans.unmark_all()
        scans.focus()
        scans.cursor_row = next((at for at, row in enumerate(scans.rows_held) if row.scan.sha256 == self._asked), 0)

    def load(self, *, keep: bool = False) -> None:
        if not keep:
            self._begin()
            return
        piece_id, online = self.piece_id, self.app.changes.online
        self.ask(lambda db: piece_view(db, piece_id, online) if pieces.by_id(db, piece_id) else None, self._show_again,
                 group="view", holds=self)

    def _show_again(self, view: PieceView | None) -> None:
        if view is not None:
            self._show(view, keep=True)
        elif self.is_current:
            self.app.say(f"This piece {GONE}: its scans are filed elsewhere now.")
            self.action_back()

    def _show(self, view: PieceView, *, keep: bool) -> None:
        self._view = view
        self._words.update(piece_words(view))
        self._prints.update(prints_words(view, self.app.home.settings.print_ppi))
        self._edition_words.update(edition_words(view.editions, self.app.day_form))
        self._scans.set_title("Scans", len(view.scans))
        self._orders.set_title("Orders", len(view.lines))
        self._scans.show_rows(view.scans, keep=keep)
        self._orders.show_rows(view.lines, keep=keep)
        self._orders.display = self._order_words.display = bool(view.lines)
        if not view.scans:
            self._picture.show(None, "No scans yet")
            self._scan_words.update("")

    def _printed_from(self, line: Line) -> str:
        assert self._view is not None  # whose line this is
        return self._view.printed_from(line)

    def on_row_table_highlighted(self, event: RowTable.Highlighted) -> None:
        row = event.row
        if isinstance(row, ScanView):
            self._scan_words.update(scan_words(row, self.app.day_form))
            self._picture.show(self.app.preview(row.scan.sha256) if row.scan.has_preview else None,
                               "No preview: the picture could not be read", (row.scan.width, row.scan.height))
        elif isinstance(row, Line) and self._view is not None:
            printed = self._printed_from(row)
            words = [f"Order {row.number} for {row.buyer or 'an unnamed buyer'}, {row.state}.",
                     f"Printed from: {printed}" + (f" ({row.scan_name})" if row.scan_name else "") + "."]
            words += [text for text in (row.profile, row.settings, row.notes) if text]
            self._order_words.update("\n".join(words))

    @property
    def _scan(self) -> ScanView | None:
        return self._scans.row_to_act_on

    def scan_meant(self) -> str | None:
        return self._scan.scan.sha256 if self._scan else None

    def action_repeat(self) -> None:
        line = self._orders.row_to_act_on if self._orders.has_focus else None
        if line is not None:
            repeating.offer_repeat(self.app, line_id=line.id)
        else:
            repeating.offer_repeat(self.app, piece_id=self.piece_id)

    def action_edit(self) -> None:
        """Correct the scan or the marked scans; the piece where it has none."""
        scans = self._scans
        rows = scans.rows_to_act_on
        if not rows:
            self.action_edit_piece()
            return
        edit_scans(self, [row.scan.sha256 for row in rows], scan_name(rows[0]), lambda: scans.dealt_with(rows))

    def action_edit_piece(self) -> None:
        edit_pieces(self, [self.piece_id], lambda: None)

    def action_new_edition(self) -> None:
        if self._view is not None:
            self.app.push_screen(new_edition_form(self._view.piece, self.app.day_form),
                                 lambda done: announce_correction(self.app, done))

    def action_numbers(self) -> None:
        if self._view is not None:
            show_numbers(self, self._view.piece.title, self._view.editions)

    def action_plan(self) -> None:
        piece = self._view.piece if self._view is not None else None
        size = (piece.width_mm, piece.height_mm) if piece and piece.width_mm and piece.height_mm else None
        self.app.push_screen(CapturePlanDialog(size))

    def action_recipe(self) -> None:
        """How the print file under the cursor was made from its master; recorded if the person agrees."""
        row, app = self._scan, self.app
        if row is None or row.scan.role == "master":
            app.say("Choose a print file first." if row else "No scan selected.")
            return

        def proposed(proposal: "RecipeProposal") -> None:
            from catalogue.operations.print_recipes import confirm_recipe, summarize

            def record() -> None:
                self.record("the recipe", lambda db: confirm_recipe(db, app.home, proposal), lambda _: app.changed())

            confirm(app, "Record this recipe for repeats?", panel_text([proposal.file.name, *summarize(proposal)]),
                    record, yes="Record", careful=not proposal.close)

        start_recipe(app, row.scan.sha256, proposed)

    def action_make_current(self) -> None:
        row = self._scan
        if row is None or row.current:
            self.app.say("This scan is already the current master." if row else "No scan selected.")
            return
        if row.scan.role != "master":
            self.app.say(f"A {row.scan.role} cannot be the current master.", "warning")
            return

        app, piece_id, name = self.app, self.piece_id, scan_name(row)

        def change(db: Database) -> None:
            choose_current_master(db, piece_id, row.scan.id)

        confirm(app, "Make this the current master?", f"{name}\nThe present one stays in the archive, marked "
                "superseded. Past orders keep the scan they were printed from.",
                lambda: self.record(f"current master {name}", change, lambda _: app.changed()),
                yes="Make current")


def sign_of(row: ScanView) -> str:
    """A sign for a scan with something wrong, or for the current master."""
    if row.findings:
        return "✗" if any(finding.kind in DAMAGE_KINDS for finding in row.findings) else "!"
    return "●" if row.current else ""


def scan_name(row: ScanView) -> str:
    """The name of one of its files, else the beginning of its digest."""
    return file_name(row.files[0].file.path) if row.files else row.scan.sha256[:12]


def held_text(row: ScanView) -> str:
    """Where a scan's files are, in as few words as possible."""
    present = sum(held.state == "present" for held in row.files)
    if present:
        return counted(present, "file")
    if any(held.state == "offline" for held in row.files):
        return "– offline"
    return "✗ missing"
