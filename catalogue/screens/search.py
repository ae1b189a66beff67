"""Search as you type over artists, titles, orders and file names, from everywhere."""

from dataclasses import dataclass
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.widgets import DataTable, Input, Static

from catalogue.records.database import Database
from catalogue.records.paths import shown
from catalogue.records.search import Found, Vocabulary, load_vocabulary, search
from catalogue.screens.bars import KeyLine
from catalogue.screens.keys import bindings
from catalogue.screens.page import Dialog, ask
from catalogue.screens.picture import Picture
from catalogue.screens.wording import cell, counted, day, safe

EACH = 12  # hits of a kind


@dataclass(frozen=True, slots=True)
class Hit:
    """One line found. What it opens: a piece, an artist's pieces, or nothing."""

    kind: str
    name: str
    detail: str
    piece_id: int | None = None
    artist_id: int | None = None
    sha256: str | None = None


def hits(found: Found, day_form: str) -> list[Hit]:
    """Everything found as lines: pieces first, since that is what is looked for most."""
    listed = [Hit("piece", p.title, ", ".join(filter(None, (p.artist, p.year))), p.id, sha256=p.sha256)
              for p in found.pieces]
    listed += [Hit("artist", a.name, counted(a.pieces, "piece"), artist_id=a.id) for a in found.artists]
    listed += [Hit("order", f"{o.number}  {o.buyer}", f"{day(o.placed, day_form)}, {o.status}: {o.summary}", o.piece_id)
               for o in found.orders]
    listed += [Hit(f.role or "file", shown(f.path).rsplit("/", 1)[-1],
                   f"{f.store}{', missing' if f.state == 'missing' else ''}: {shown(f.path)}", f.piece_id,
                   sha256=f.sha256) for f in found.files]
    return listed


class SearchDialog(Dialog[Hit]):
    """The box, what was found, and its picture."""

    PLACE = "search"
    BINDINGS: ClassVar[list[BindingType]] = bindings("search")

    def __init__(self) -> None:
        super().__init__()
        self._hits: list[Hit] = []

    def compose(self) -> ComposeResult:
        with Vertical(classes="panel searching"):
            yield Input(placeholder="Artist, title, year, size such as 50x70, order, buyer, file name", id="words",
                        compact=True)
            with Horizontal():
                table: DataTable[Text] = DataTable(id="found", cursor_type="row", show_header=False)
                table.can_focus = False
                yield table
                yield Picture(id="found-picture")
            yield Static("", id="found-count", classes="quiet", markup=False)
            yield KeyLine(self.PLACE, alone=True)

    def on_mount(self) -> None:
        self.query_one(Input).focus()

    def on_input_changed(self, event: Input.Changed) -> None:
        words = event.value

        def look(db: Database) -> Found:
            if self.shop.vocabulary is None and len(words) > 2:
                self.shop.vocabulary = load_vocabulary(db)
            return search(db, words, EACH, self.shop.vocabulary or Vocabulary(()))

        ask(self, self.shop.lanes["search"], look, lambda found: self._show(found, words), group="search")

    def _show(self, found: Found, words: str) -> None:
        self._hits = hits(found, self.shop.day_form)
        table = self.query_one("#found", DataTable)
        with self.prevent(DataTable.RowHighlighted), self.app.batch_update():
            table.clear(columns=True)
            width = table.size.width - 14 - table.styles.scrollbar_size_vertical
            name = max(10, width * 2 // 5)
            table.add_column("", width=10)
            table.add_column("", width=name)
            table.add_column("", width=max(10, width - name))
            for hit in self._hits:
                table.add_row(cell(hit.kind, "dim"), cell(hit.name, "bold"), cell(hit.detail))
        said = ""
        if words.strip():
            said = counted(found.total, "line") + " found" if found.total else "Nothing fits these words."
            if any(len(kind) == EACH for kind in (found.artists, found.pieces, found.orders, found.files)):
                said += f"; at most {EACH} of each kind are shown, further words narrow it"
            if found.corrected:
                said += "   Read as: " + ", ".join(f"{typed} → {' or '.join(near)}" for typed, near in found.corrected)
        self.query_one("#found-count", Static).update(safe(said))
        self._picture()

    @property
    def _hit(self) -> Hit | None:
        row = self.query_one("#found", DataTable).cursor_row
        return self._hits[row] if 0 <= row < len(self._hits) else None

    def _picture(self) -> None:
        hit = self._hit
        self.query_one(Picture).show(self.shop.preview(hit.sha256) if hit else None, "")

    def on_data_table_row_highlighted(self, _: DataTable.RowHighlighted) -> None:
        self._picture()

    def on_data_table_row_selected(self, _: DataTable.RowSelected) -> None:
        self.action_open()

    def on_input_submitted(self, _: Input.Submitted) -> None:
        self.action_open()

    def action_down(self) -> None:
        self.query_one("#found", DataTable).action_cursor_down()

    def action_up(self) -> None:
        self.query_one("#found", DataTable).action_cursor_up()

    def action_open(self) -> None:
        hit = self._hit
        if hit is not None:
            if hit.piece_id is None and hit.artist_id is None:
                self.shop.say("This file belongs to no piece yet.", "warning")
                return
            self.dismiss(hit)
