"""Search as you type over artists, titles, orders and file names, from everywhere."""

from collections.abc import Iterable
from dataclasses import dataclass

from rich.cells import cell_len
from textual.containers import Horizontal
from textual.geometry import Size
from textual.reactive import Reactive
from textual.widget import Widget
from textual.widgets import Input, Static

from catalogue.records.paths import display_path
from catalogue.records.search import Found, Vocabulary, load_vocabulary, search
from catalogue.screens.actions.correcting import edit_artist, edit_pieces, edit_scans
from catalogue.screens.page import Dialog
from catalogue.screens.pictures.picture import Picture
from catalogue.screens.texts.formats import counted, day, safe
from catalogue.screens.widgets.row_drawing import Column
from catalogue.screens.widgets.row_table import RowTable

EACH = 12  # hits of a kind


@dataclass(frozen=True, slots=True)
class Hit:
    """One result, and what it opens: a piece, an artist's pieces, or nothing."""

    kind: str
    name: str
    detail: str
    piece_id: int | None = None
    artist_id: int | None = None
    sha256: str | None = None


def hits(result: Found, day_form: str) -> list[Hit]:
    """All results as lines: pieces first, since they are wanted most."""
    listed = [Hit("piece", p.title, ", ".join(filter(None, (p.artist, p.year))), p.id, sha256=p.sha256)
              for p in result.pieces]
    listed += [Hit("artist", a.name, counted(a.pieces, "piece"), artist_id=a.id) for a in result.artists]
    listed += [Hit("order", f"{o.number}  {o.buyer}", f"{day(o.placed, day_form)}, {o.status}: {o.summary}", o.piece_id)
               for o in result.orders]
    for f in result.files:
        folder, _, name = display_path(f.path).rpartition("/")
        where = f"{f.store}{', missing' if f.state == 'missing' else ''}" + (f": {folder}" if folder else "")
        listed.append(Hit(f.role or "file", name, where, f.piece_id, sha256=f.sha256))
    return listed


PICTURE_BYTES, PICTURE_SETTLE = 3_000, 0.5   # of the picture beside what is found: it follows once typing rests


class SearchInput(Input):
    """A field as wide as its place, whatever is typed. Textual lays the whole screen out again when the text of its own
    grows, for each letter."""

    virtual_size = Reactive(Size(0, 0))


class CountLine(Static):
    """How much was found. It lays the screen out again only where it takes another number of lines than before."""

    def say(self, words: str) -> None:
        """Show these words, on two lines at most."""
        height = min(2, 1 + cell_len(words) // max(1, self.size.width)) if words else 0
        self.update(words, layout=height != self.size.height)


class SearchDialog(Dialog[Hit]):
    """The search box, the results, and the picture of the one under the cursor."""

    KEY_CONTEXT = "search"
    PANEL = "searching"

    def __init__(self) -> None:
        super().__init__()
        self._words = ""    # what the lines listed were found for
        self._vocabulary: Vocabulary | None = None
        self._known_changes = -1    # ``ChangeWatch.changes`` when the vocabulary was asked for last
        self._box = SearchInput(placeholder="Artist, title, year, size such as 50x70, order, buyer, file name",
                                id="words", compact=True)
        self._table = RowTable[Hit]([Column("", 10, lambda hit: (hit.kind, "dim")),
                                     Column("", 0, lambda hit: (hit.name, "bold"), weight=2),
                                     Column("", 0, lambda hit: hit.detail, weight=3)], id="found")
        self._table.can_focus = False
        self._picture = Picture(most_bytes=PICTURE_BYTES, settle_seconds=PICTURE_SETTLE, id="found-picture")
        self._count = CountLine("", id="found-count", classes="quiet", markup=False)

    def body(self) -> Iterable[Widget]:
        yield self._box
        yield Horizontal(self._table, self._picture)
        yield self._count

    def on_mount(self) -> None:
        self._box.focus()
        self._learn_words()

    def _learn_words(self) -> None:
        """Read the words that misspellings are corrected by, where the catalogue has changed since, on a thread of
        their own: no letter waits for them, and what was typed meanwhile is looked up again."""
        def keep(words: Vocabulary) -> None:
            if words != self._vocabulary:
                self._vocabulary = words
                self._look_up(self._box.value)

        if self._known_changes != self.app.changes.changes:
            self._known_changes = self.app.changes.changes
            self.ask(load_vocabulary, keep, group="words", thread="words")

    def begin(self) -> None:
        """Start with an empty box and no results."""
        if self.is_mounted:
            self._learn_words()
            self._show(Found([], [], [], []), "")
            self._box.value = ""

    def on_input_changed(self, event: Input.Changed) -> None:
        self._learn_words()
        self._look_up(event.value)

    def _look_up(self, words: str) -> None:
        known = self._vocabulary or Vocabulary(())
        self.ask(lambda db: search(db, words, EACH, known, leave_out=True), lambda result: self._show(result, words),
                 group="search", thread="search", holds=self)

    def _show(self, result: Found, words: str) -> None:
        """List the results. The cursor stays on its line if the words are the same, otherwise it goes to the first."""
        table = self._table
        drawn = {hit: hit for hit in table.rows_held}
        listed = [drawn.get(hit, hit) for hit in hits(result, self.app.day_form)]
        at = listed.index(table.highlighted) if words == self._words and table.highlighted in listed else 0
        table.set_rows(listed, cursor=at, keep_drawn=True)
        self._words = words
        summary = ""
        if words.strip():
            if result.corrected:
                summary = "Searched for: " + ", ".join(f"{typed} → {' or '.join(near)}"
                                               for typed, near in result.corrected) + "   "
            if result.ignored:
                summary += f"Left out, no match: {', '.join(result.ignored)}   "
            summary += f"{counted(result.total, 'match', 'matches')} found" if result.total else \
                "No matches. Try fewer words."
            if any(len(kind) == EACH for kind in (result.artists, result.pieces, result.orders, result.files)):
                summary += f", at most {EACH} of each kind shown"
        self._count.say(safe(summary))

    @property
    def _hit(self) -> Hit | None:
        """The result under the cursor, if it belongs to the words in the box."""
        return self._table.highlighted if self._words == self._box.value else None

    def on_row_table_highlighted(self, event: RowTable.Highlighted) -> None:
        self._picture.show(self.app.preview(event.row.sha256) if event.row else None, "")

    def action_down(self) -> None:
        self._table.action_cursor_down()

    def action_up(self) -> None:
        self._table.action_cursor_up()

    def action_open(self) -> None:
        hit = self._hit
        if hit is not None and hit.piece_id is None and hit.artist_id is None:
            self.action_edit()      # it has no piece yet: to say which
        elif hit is not None:
            self.dismiss(hit)

    def action_edit(self) -> None:
        hit = self._hit
        if hit is None:
            return
        if hit.artist_id is not None:
            edit_artist(self, hit.artist_id, self._look_again)
        elif hit.kind not in ("piece", "order") and hit.sha256 is not None:
            edit_scans(self, [hit.sha256], hit.name, self._look_again)
        elif hit.piece_id is not None:
            edit_pieces(self, [hit.piece_id], self._look_again)
        else:
            self.app.say("This file has not been read yet.", "warning")

    def _look_again(self) -> None:
        self._look_up(self._words)
