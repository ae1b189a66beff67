"""How names will be read: the folders and their meaning, the resulting artists and pieces, both corrected here.

Used at the first look at a folder, before anything is read, and later for everything on record.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from textual import events
from textual.containers import Horizontal
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from catalogue.filing.levels import Choice, choices_of, meaning_of, rules_of, with_choice
from catalogue.operations.place_rules import Named
from catalogue.records.folding import fold_name
from catalogue.screens.background.threads import WorkerThread, run_in_thread
from catalogue.screens.dialogs import confirm
from catalogue.screens.dialogs.confirm import TextQuestion
from catalogue.screens.page import Page
from catalogue.screens.texts import filed_names as filed
from catalogue.screens.texts.filed_names import FiledRow, FolderRow
from catalogue.screens.texts.formats import counted, line, lines, number, safe
from catalogue.screens.widgets.row_drawing import Column
from catalogue.screens.widgets.row_table import RowTable

WORDS = {"artist": "artist", "piece": "title", "series": "series", "year": "year", "job": "job", "ignore": "ignored",
         "": ""}
MEANT = (("artist", "The artist"), ("piece", "The title of a piece"), ("series", "A series"), ("year", "The year"),
         ("job", "A job or an invoice"), ("ignore", "Nothing: ignore it"), ("", "Guess it from the names"))
NAMED = 2       # files named of a piece
Source = Callable[[Sequence[str]], Callable[[Any], Named]]     # by the rules: what to do on the thread


@dataclass(frozen=True, slots=True)
class Reading:
    """How names are to be read: what levels mean, rules written by hand, which artist a name means, and what pieces are
    called: ``(artist, title before, title)``."""

    choices: tuple[Choice, ...] = ()
    others: tuple[str, ...] = ()
    names: tuple[tuple[str, str], ...] = ()
    titles: tuple[tuple[str, str, str], ...] = ()

    @property
    def rules(self) -> tuple[str, ...]:
        """Raises ValueError."""
        return (*rules_of(self.choices), *self.others)


def reading_of(rules: Iterable[str]) -> Reading:
    """How the present rules read names."""
    return Reading(*choices_of(rules))


class NamesPage(Page):
    """Folders on the left, what they give on the right; a choice on the left is seen on the right.

    ``source`` gives the files with what rules suggest of them, on ``thread``; ``use`` gets what was chosen.
    """

    KEY_CONTEXT = "names"
    MODE = "stores"
    LIST = "levels"

    def __init__(self, title: str, source: Source, thread: WorkerThread[Any],
                 reading: Reading, use: Callable[[Reading], object], *,
                 take_back: Callable[[], object] | None = None) -> None:
        super().__init__()
        self._title, self._source, self._use, self._take_back = title, source, use, take_back
        self._worker_thread = thread
        self._readings = [reading]      # the present one last
        self._named: Named = []
        self._levels = RowTable[FolderRow](
            [Column("Folder", 0, lambda row: "  " * (len(row.folder) - 1) + row.folder[-1]),
             Column("Meaning", 9, _meaning), Column("Files", 5, lambda row: number(row.files), right=True)],
            lambda row: row.folder, id="levels")
        self._filed = RowTable[FiledRow](
            [Column("Artist and pieces", 0, _filed_name), Column("Year", 4, lambda row: row.year),
             Column("", 12, _filed_as, least=56),
             Column("Files", 5, lambda row: number(sum(count for _, count in row.roles)), right=True)],
            lambda row: (row.artist, row.title, row.is_piece), id="filed")
        self._words = Static("", id="names-words", markup=False)

    def body(self) -> Iterable[Widget]:
        yield Static(self._title, id="names-hello", markup=False)
        yield Horizontal(self._levels, self._filed, id="names")
        yield self._words

    @property
    def _reading(self) -> Reading:
        return self._readings[-1]

    def catalogue_changed(self) -> None:
        """What the files are filed by stays as it was when this was opened."""

    def load(self, *, keep: bool = False) -> None:  # noqa: ARG002 - it always stays
        """Read the names again, off this thread; folders show what was chosen at once."""
        self._filed.set_title("Reading the names …")
        run_in_thread(self, self._worker_thread, self._source(self._reading.rules), self._show, group="names",
                      holds=self._filed)

    def _show(self, named: Named) -> None:
        self._named = named
        self._show_levels()
        self._show_filed()

    def _show_levels(self) -> None:
        rows = filed.folder_rows(self._named, self._reading.choices)
        self._levels.set_title("Folders", len(rows))
        self._levels.show_rows(rows, keep=True)

    def _show_filed(self, *, renamed: bool = False) -> None:
        """``renamed``: the row under the cursor may be called otherwise because the person said so."""
        rows = filed.filed_rows(filed.under_names(self._named, dict(self._reading.names), self._reading.titles))
        artists, pieces = sum(not row.is_piece for row in rows), sum(row.is_piece and bool(row.title) for row in rows)
        if renamed and self._filed.highlighted is not None:
            self._filed.expect_removal(self._filed.highlighted)
        self._filed.set_title(f"Would be filed: {counted(artists, 'artist')}, {counted(pieces, 'piece')}")
        self._filed.show_rows(rows, keep=True)

    def on_row_table_highlighted(self, event: RowTable.Highlighted) -> None:
        if event.table is self.focused:
            self._show_words(event.row)

    def on_descendant_focus(self, event: events.DescendantFocus) -> None:
        if isinstance(event.widget, RowTable):
            self._show_words(event.widget.highlighted)

    def _show_words(self, row: FolderRow | FiledRow | None) -> None:
        words = folder_words(row, self._reading.choices) if isinstance(row, FolderRow) else \
            filed_words(row) if isinstance(row, FiledRow) else Content("")
        self._words.update(words)

    # Choosing

    def _change(self, reading: Reading) -> None:
        """Raises ValueError if it cannot be put into rules."""
        guess_anew = reading.rules != self._reading.rules
        self._readings.append(reading)
        self._show_choice(guess_anew=guess_anew)

    def _show_choice(self, *, guess_anew: bool) -> None:
        if guess_anew:
            self._show_levels()
            self.load()
        else:
            self._show_filed(renamed=True)

    def action_meaning(self) -> None:
        """Ask what the folder means, then for which of its neighbours that holds."""
        row = self._levels.row_to_act_on if self._levels.has_focus else None
        if row is None:
            self.app.say("Go to a folder on the left; Tab changes sides.", "warning")
            return
        present = next(n for n, (meaning, _) in enumerate(MEANT) if meaning == row.chosen)
        likely = next(n for n, (meaning, _) in enumerate(MEANT) if meaning == (row.chosen or row.guessed or "artist"))
        self.app.push_screen(confirm.Choice(f"What does {row.folder[-1]!r} mean?", [
            (n, words, "now" if n == present else "") for n, (_, words) in enumerate(MEANT)], at=likely),
            lambda chosen: self._ask_scope(row, MEANT[chosen][0]) if chosen is not None else None)

    def _ask_scope(self, row: FolderRow, meaning: str) -> None:
        depth = len(row.folder) - 1
        prefixes = [row.folder[:length] for length in range(depth + 2)]

        def label(prefix: tuple[str, ...]) -> str:
            if prefix == row.folder:
                return f"Only {'/'.join(prefix)}"
            return f"All folders at this level{f' in {chr(47).join(prefix)}' if prefix else ''}"

        def count(prefix: tuple[str, ...]) -> int:
            return sum(len(level.folder) == depth + 1 and level.folder[:len(prefix)] == prefix
                       for level in self._levels.rows_held)

        def chosen(at: int | None) -> None:
            if at is None:
                return
            try:
                self._change(replace(self._reading, choices=with_choice(
                    self._reading.choices, Choice(prefixes[at], depth, meaning))))
            except ValueError as error:
                self.app.say(f"That cannot be turned into a rule: {error}.", "warning")

        self.app.push_screen(confirm.Choice("For which folders?", [
            (n, label(prefix), counted(count(prefix), "folder")) for n, prefix in enumerate(prefixes)]), chosen)

    def action_rename(self) -> None:
        row = self._filed.row_to_act_on if self._filed.has_focus else None
        if row is None or not row.artist:
            self.app.say("Go to an artist or a piece on the right; Tab changes sides.", "warning")
        elif row.is_piece:
            self._ask_title(row.artist, row.title)
        else:
            self._ask_artist(row.artist)

    def _ask_title(self, artist: str, title: str) -> None:
        def meant(typed: str | None) -> None:
            new = " ".join((typed or "").split())
            if fold_name(new) and new != title:
                self._change(replace(self._reading, titles=(*self._reading.titles, (artist, title, new))))

        self.app.push_screen(TextQuestion("What is this piece called?", f"{safe(artist)}: {safe(title)}", value=title),
                             meant)

    def _ask_artist(self, artist: str) -> None:
        """Ask who an artist is: one of the others, or a typed name."""
        others = sorted({row.artist for row in self._filed.rows_held if row.artist and row.artist != artist})

        def meant(name: str | None) -> None:
            if name is not None and fold_name(name):
                self._change(replace(self._reading, names=(*self._reading.names, (artist, " ".join(name.split())))))

        def chosen(at: int | None) -> None:
            if at == 0:
                self.app.push_screen(TextQuestion("How is this artist spelt?", safe(artist), value=artist), meant)
            elif at is not None:
                meant(others[at - 1])

        rows = [(0, "Spell the name differently …", ""),
                *((n, name, "the same artist") for n, name in enumerate(others, 1))]
        self.app.push_screen(confirm.Choice(f"Who is {artist}?", rows), chosen)

    def action_undo(self) -> None:
        if len(self._readings) == 1:
            self.app.say("Nothing was chosen yet.")
            return
        undone = self._readings.pop()
        self._show_choice(guess_anew=undone.rules != self._reading.rules)

    def action_use(self) -> None:
        self._use(self._reading)

    def action_take_back(self) -> None:
        if self._take_back is None:
            self.app.say("Nothing is filed yet.")
        else:
            self._take_back()


def _meaning(row: FolderRow) -> object:
    if row.chosen:
        return WORDS[row.chosen], "bold"
    return f"{WORDS[row.guessed]}?" if row.guessed else "", "dim"


def _filed_name(row: FiledRow) -> object:
    if not row.is_piece:
        return row.artist, "bold"
    return f"  {row.title}" if row.title else "? no artist or no piece in the name"


def _filed_as(row: FiledRow) -> object:
    if not row.is_piece:
        return counted(row.pieces, "piece")
    return row.roles[0][0] if len(row.roles) == 1 else "several", "dim"


def folder_words(row: FolderRow, choices: Iterable[Choice]) -> Content:
    """What a folder is taken for, and who said so."""
    meaning = meaning_of(choices, row.folder)
    text = f"{WORDS[meaning]}, as you chose" if meaning else f"{WORDS[row.guessed]}, as guessed" if row.guessed else \
        "guessed from the names"
    return lines([line(("/".join(row.folder), "bold")), line(f"{counted(row.files, 'file')} below. Meaning: {text}.")])


def filed_words(row: FiledRow) -> Content:
    """The files of a piece and why they are filed there."""
    paragraphs = [line((", ".join(filter(None, (row.artist, row.title, row.series, row.year))) or "Unsorted", "bold"),
                  f"  {filed.roles_words(row.roles)}")]
    paragraphs += [line((path, "$quiet")) for path in row.paths[:NAMED]]
    if len(row.paths) > NAMED:
        paragraphs.append(line((f"and {counted(len(row.paths) - NAMED, 'more file')}", "$quiet")))
    reasons = [reason for reason in row.reason.splitlines() if reason.startswith(("artist", "title"))]
    return lines([*paragraphs, *([line(("; ".join(reasons), "$quiet"))] if row.is_piece and reasons else [])])

