"""Browse: artists, their pieces, and the picture at once while the cursor moves."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, cast

from textual.containers import Container, Vertical
from textual.widget import Widget
from textual.widgets import Static

from catalogue.records import browsing
from catalogue.records.browsing import ArtistItem, PieceItem, Totals
from catalogue.records.database import Database
from catalogue.screens.actions import opening, repeating
from catalogue.screens.actions.files import FileActions
from catalogue.screens.page import Page
from catalogue.screens.pictures.picture import Picture
from catalogue.screens.texts.formats import day, number
from catalogue.screens.widgets.paged_table import PagedTable, Source
from catalogue.screens.widgets.row_drawing import Column
from catalogue.screens.widgets.row_table import RowTable

if TYPE_CHECKING:
    from catalogue.records.glances import Glance
    from catalogue.screens.app import CatalogueApp

NOTHING = "Nothing here yet.\nPress 6 for the stores, then a\nto add a folder of scans."
LONGEST_HOLD = 0.5      # seconds after which the page is drawn without its rows; to draw it twice is a tenth of a start
ALL = ArtistItem(0, "", "All artists", 0)


class BrowsePage(FileActions, Page):
    """Artists on the left, pieces beside or below, the picture largest."""

    CSS_PATH = None     # what the first page needs is in the app's sheet
    KEY_CONTEXT = "browse"
    MODE = "browse"
    LIST = "pieces"

    def __init__(self) -> None:
        super().__init__()
        self._glance: Glance | None = None
        self._totals: Totals | None = None
        self._first_rows_read = False       # what else there is to read waits until they are drawn
        self._listed: int | None = None     # the artist whose pieces are listed; 0 is all
        self._artists = PagedTable[ArtistItem](
            [Column("Artist", 0, lambda row: (row.name, "italic" if row is ALL else "")),
             Column("", 4, lambda row: number(row.pieces) if row.id else "", right=True)],
            lambda row: row.id, id="artists")
        self._pieces = PagedTable[PieceItem](
            [Column("Title", 0, lambda row: row.title, weight=3),
             Column("Artist", 0, lambda row: row.artist, least=64, weight=2),
             Column("Year", 4, lambda row: row.year, least=44),
             Column("Scans", 5, lambda row: row.scans, least=54, right=True),
             Column("Last order", 11, lambda row: day(row.last_order, self.app.day_form), least=44),
             Column("", 1, lambda row: "✗" if row.damaged else "!" if row.findings else "")],
            lambda row: row.id, id="pieces")
        self._preview = PiecePreview()

    def body(self) -> Iterable[Widget]:
        yield Container(Container(self._artists, self._pieces, id="lists"), self._preview, id="browse")

    def on_mount(self) -> None:
        self.drawing_held = True    # until there are rows to show
        self.set_timer(LONGEST_HOLD, self.release_drawing)

    def load(self, *, keep: bool = False) -> None:
        """List the artists; the one the cursor comes to loads the pieces."""
        def page(db: Database, beyond: ArtistItem | None, limit: int, forward: bool) -> list[ArtistItem]:
            if beyond is ALL and not forward:
                return []
            rows = browsing.artists(db, beyond if beyond and beyond.id else None, limit, forward=forward)
            at_start = beyond is None if forward else len(rows) < limit
            return [ALL, *rows] if at_start else rows

        self._artists.show(Source(page, lambda db, row: browsing.artist(db, row.id) if row.id else ALL), keep=keep)
        if self._first_rows_read:
            self._ask_totals()

    def _ask_totals(self) -> None:
        self.ask(browsing.totals, self._show_totals, group="totals")

    def _show_totals(self, totals: Totals) -> None:
        self._totals = totals
        if self._glance is None and not totals.pieces:
            self._show_glance(None)
            self.release_drawing()
            self.app.first_list_shown()
        self._artists.set_title("Artists", totals.artists)
        self._entitle_pieces()

    def _entitle_pieces(self) -> None:
        artist = self._artists.highlighted
        if artist is not None and artist.id:
            self._pieces.set_title(artist.name, artist.pieces)
        else:
            self._pieces.set_title("Pieces", self._totals.pieces if self._totals else None)

    def _load_pieces(self, *, keep: bool = False) -> None:
        artist = self._artists.highlighted
        chosen = artist.id if artist is not None and artist.id else None
        self._listed = artist.id if artist is not None else None
        if not keep:
            self._pieces.unmark_all()   # another list: what is marked is what can be seen there
        self._pieces.show(Source(
            lambda db, beyond, limit, forward: browsing.pieces(db, chosen, beyond, limit, forward=forward),
            lambda db, row: browsing.piece(db, row.id)), keep=keep)
        self._entitle_pieces()

    def on_row_table_highlighted(self, event: RowTable.Highlighted) -> None:
        if event.table is self._artists:
            if event.row is not None:   # else not read yet: a list that was read has a row for all artists
                self._load_pieces(keep=event.row.id == self._listed)
        elif self._listed is None:
            return      # no list was read yet
        elif self._first_rows_read:
            self._ask_glance(event.row)
        else:
            self._first_rows_read = True
            self.release_drawing()
            self.call_after_refresh(self._ask_glance, event.row)
            self.call_after_refresh(self._ask_totals)

    def _ask_glance(self, row: PieceItem | None) -> None:
        if row is None:
            self._show_glance(None)
            return

        def glance(db: Database) -> "Glance | None":
            from catalogue.records.glances import glance  # not needed for the first list

            return glance(db, row.id)

        self.ask(glance, self._show_glance, group="glance")

    def _show_glance(self, glance: "Glance | None") -> None:
        self._glance = glance
        if glance is not None:
            self.call_after_refresh(self.app.first_list_shown)     # nobody waits for the first list any more
        self._preview.show(glance, "" if self._totals and self._totals.pieces else NOTHING)

    def action_open(self) -> None:
        if self._artists.has_focus:
            self.action_pane_right()
            return
        piece = self._pieces.row_to_act_on
        if piece is not None:
            opening.open_piece(self.app, piece.id)

    def action_pane_right(self) -> None:
        self._pieces.focus()

    def action_pane_left(self) -> None:
        self._artists.focus()

    def action_repeat(self) -> None:
        piece = self._pieces.row_to_act_on
        if piece is not None:
            repeating.offer_repeat(self.app, piece_id=piece.id)

    def action_edit(self) -> None:
        from catalogue.screens.actions.correcting import edit_artist, edit_pieces

        artists, pieces = self._artists, self._pieces
        if artists.has_focus:
            artist = artists.row_to_act_on
            if artist is None or not artist.id:
                self.app.say("Choose one artist first.", "warning")
                return
            edit_artist(self, artist.id, lambda: artists.expect_removal(artist))
            return
        rows = pieces.rows_to_act_on
        if rows:
            edit_pieces(self, [row.id for row in rows], lambda: pieces.dealt_with(rows))

    def action_mark(self) -> None:
        if self._artists.has_focus:
            self.app.say("Only pieces can be marked. Correct artists one at a time.", "warning")
        else:
            super().action_mark()

    def action_merge(self) -> None:
        """File two pieces as one: the two marked, or the one marked and the one under the cursor."""
        from catalogue.screens.actions.correcting import merge_pieces

        pieces = self._pieces
        if both := pieces.two_to_merge:
            merge_pieces(self, [row.id for row in both], lambda: pieces.dealt_with(both))
        else:
            self.app.say("Mark one piece with Space, go to the other, and press m.", "warning")

    def action_new_piece(self) -> None:
        """By the artist under the cursor, unless another is named."""
        from catalogue.screens.actions.correcting import announce_correction
        from catalogue.screens.dialogs.correction_forms import new_piece_form

        artist = self._artists.highlighted
        self.app.push_screen(new_piece_form(artist.name if artist is not None and artist.id else ""),
                             lambda done: announce_correction(self.app, done))

    def action_statement(self) -> None:
        from catalogue.screens.dialogs.statement import open_statement

        artist = self._artists.row_to_act_on
        if artist is None or not artist.id:
            self.app.say("Choose one artist on the left first.", "warning")
        else:
            open_statement(self, artist)

    def go_to_artist(self, artist_id: int) -> None:
        """Put the cursor on an artist, wherever in the list."""
        artists = self._artists
        self.ask(lambda db: browsing.artist(db, artist_id), artists.go_to, group="go", holds=self.app)
        self.action_pane_right()

    def scan_meant(self) -> str | None:
        piece = self._pieces.row_to_act_on
        return piece.sha256 if piece is not None else None


class PiecePreview(Vertical):
    """A piece's picture with what matters of it below."""

    def __init__(self) -> None:
        self._picture = Picture(id="preview-picture", below=7)
        self._words = Static("", id="preview-words", markup=False)
        super().__init__(self._picture, self._words)

    def show(self, glance: "Glance | None", empty: str = "") -> None:
        """Show a piece, or ``empty``."""
        if glance is None:
            self._picture.show(None, "")
            self._words.update(empty, layout=False)
            return
        from catalogue.screens.texts.facts import glance_words  # not needed for the first list

        shop = cast("CatalogueApp", self.app)
        self._picture.show(
            shop.preview(glance.sha256) if glance.has_preview else None,
            "No master yet" if glance.scan_id is None else "No preview: the picture could not be read",
            (glance.width, glance.height))
        self._words.update(glance_words(glance, shop.day_form, one_disk=shop.home.settings.copies_on_one_disk),
                           layout=False)
