"""A form of named facts: each with its origin, and completed with existing names."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from textual import events
from textual.containers import Grid
from textual.widget import Widget
from textual.widgets import Input, Label, Static

from catalogue.errors import AlreadyExists, CatalogueError
from catalogue.indexing.corrections import Correction
from catalogue.records.database import Database
from catalogue.records.folding import fold_name
from catalogue.records.provenance import NONE, STATED, Origin
from catalogue.screens.page import Dialog
from catalogue.screens.texts.formats import line, safe
from catalogue.screens.widgets.bars import KeyLine
from catalogue.screens.widgets.row_drawing import Column
from catalogue.screens.widgets.row_table import RowTable

MOST_MATCHES = 8


@dataclass(frozen=True, slots=True)
class Match:
    """A name that the typed text may mean. ``id`` None: the text is taken as typed, as a new name."""

    text: str
    detail: str = ""
    id: int | None = None


Matches = Callable[[Database, str, Mapping[str, str]], list[Match]]


@dataclass(frozen=True, slots=True)
class Field:
    """One fact. ``matches`` completes what is typed, given the texts of all fields; ``only``: nothing else is taken;
    ``id`` is whom or what the value names. ``fixed``: shown, not to be changed here; ``hint`` stands in an empty field.
    """

    name: str
    label: str
    value: str = ""
    origin: Origin = NONE
    matches: Matches | None = None
    only: bool = False
    id: int | None = None
    fixed: bool = False
    hint: str = ""


@dataclass(frozen=True, slots=True)
class Filled:
    """What a person did in a form. ``changed``: the texts of fields that say something else than at first; ``chosen``:
    the matches picked for fields; ``given_back``: fields to be guessed again; ``texts``: of all fields."""

    texts: dict[str, str]
    changed: dict[str, str]
    chosen: dict[str, Match] = field(default_factory=dict)
    given_back: frozenset[str] = frozenset()


Save = Callable[[Filled], Callable[[Database], Correction]]


class FormDialog(Dialog[Correction]):
    """Fields under one another, the matches of the one with the cursor below them.

    ``save`` makes of what was filled in the job that records it; it raises ValueError or CatalogueError, in words for
    the person, where it cannot. The form stays until the answer is there.
    """

    KEY_CONTEXT = "form"
    PANEL = "form"

    def __init__(self, title: str, fields: Sequence[Field], save: Save, *, clash: str = "",
                 proposed: bool = False) -> None:
        """``clash``: what to do here where a name is taken already, in place of the error's hint. ``proposed``: what
        the fields hold at first is recorded too if nothing is changed."""
        super().__init__(title)
        self._proposed = proposed
        self._fields, self._save, self._clash = {entry.name: entry for entry in fields}, save, clash
        self._chosen: dict[str, Match] = {}
        self._given_back: set[str] = set()
        self._inputs = {entry.name: Input(entry.value, placeholder=entry.hint, id=f"form-{entry.name}", compact=True,
                                        disabled=entry.fixed) for entry in fields}
        self._table = RowTable[Match]([Column("", 0, lambda match: match.text, weight=3),
                                       Column("", 0, lambda match: (match.detail, "dim"), weight=2)], id="form-matches")
        self._table.can_focus = False
        self._why = Static("", id="form-why", classes="quiet", markup=False)
        self._wrong = Static("", id="form-wrong", markup=False)

    def body(self) -> Iterable[Widget]:
        with Grid(id="form-grid"):
            for entry in self._fields.values():
                yield Label(entry.label)
                yield self._inputs[entry.name]
                yield Static(entry.origin.source, id=f"form-{entry.name}-origin", classes="quiet", markup=False)
        yield from (self._why, self._table, self._wrong)

    def on_mount(self) -> None:
        self._table.visible = False
        unused = {"down"} if not any(entry.matches for entry in self._fields.values()) else set()
        unused |= {"give_back"} if not any(entry.origin.source == STATED for entry in self._fields.values()) else set()
        self.query_one(KeyLine).leave_out(frozenset(unused))
        next(box for box in self._inputs.values() if not box.disabled).focus()

    @property
    def _current(self) -> Field | None:
        """The field with the cursor."""
        return self._fields.get((self.focused.id or "").removeprefix("form-")) if self.focused else None

    def on_descendant_focus(self, _: events.DescendantFocus) -> None:
        current = self._current
        if current is None:
            return
        self._show_origin(current)
        self._table.visible = current.matches is not None
        if current.matches is not None:
            self._look_up(current)

    def _show_origin(self, current: Field) -> None:
        given_back = current.name in self._given_back
        source = "as guessed" if given_back else current.origin.source
        self.query_one(f"#form-{current.name}-origin", Static).update(source)
        if given_back:
            why = f"{current.label}: your entry is removed; it will be guessed again."
        elif current.origin.source == STATED:
            why = f"{current.label}, {current.origin}. ^g to go back to the guess."
        else:
            why = f"{current.label}, {current.origin}" if current.origin.source else ""
        self._why.update(safe(why))

    def on_input_changed(self, event: Input.Changed) -> None:
        current = self._fields.get((event.input.id or "").removeprefix("form-"))
        if current is None or event.input is not self.focused:
            return
        chosen = self._chosen.get(current.name)
        if chosen is not None and chosen.text == event.value:
            return
        self._chosen.pop(current.name, None)
        if current.name in self._given_back and event.value != current.value:
            self._given_back.discard(current.name)
            self._show_origin(current)
        if current.matches is not None:
            self._look_up(current)

    def _look_up(self, current: Field) -> None:
        """List the matches for a field's text. Keys that take or record one wait for the answer."""
        matches, texts = current.matches, self._texts
        assert matches is not None
        typed = texts[current.name].strip()

        def matching(db: Database) -> list[Match]:
            return matches(db, typed, texts)

        self.ask(matching, lambda rows: self._show_matches(current, typed, rows), group="matches", holds=self)

    def _show_matches(self, current: Field, typed: str, matches: list[Match]) -> None:
        if self._current is not current or self._texts[current.name].strip() != typed:
            return
        before = self._chosen.get(current.name)
        meant = before.id if before else current.id if typed == current.value.strip() else None
        same = [i for i, match in enumerate(matches) if fold_name(match.text) == fold_name(typed)]
        at = next((i for i in same if matches[i].id == meant), same[0] if same else 0)
        self._table.set_rows(matches[:MOST_MATCHES], cursor=at)
        if typed and matches and (not current.only or fold_name(matches[at].text).startswith(fold_name(typed))):
            self._chosen[current.name] = matches[at]

    def action_down(self) -> None:
        self._move(1)

    def action_up(self) -> None:
        self._move(-1)

    def _move(self, step: int) -> None:
        if self._current is not None and self._current.matches is not None and self._table.row_count:
            self._table.cursor_row += step if self._current.name in self._chosen else 0
            self._take(self._current, self._table.highlighted)

    async def on_row_table_selected(self, event: RowTable.Selected) -> None:
        if self._current is not None:
            self._take(self._current, event.row)

    def _take(self, current: Field, match: Match | None) -> None:
        """Put the match under the cursor into the field."""
        if match is not None:
            self._chosen[current.name] = match
            box = self._inputs[current.name]
            box.value = match.text
            box.cursor_position = len(match.text)

    def action_give_back(self) -> None:
        """Return the field with the cursor to the guess, or undo that."""
        current = self._current
        if current is None or current.fixed:
            return
        if current.origin.source != STATED:
            self.app.say(f"{current.label}: nothing was entered here, so there is nothing to undo.",
                                   "warning")
            return
        if current.name in self._given_back:
            self._given_back.discard(current.name)
        else:
            self._given_back.add(current.name)
            self._chosen.pop(current.name, None)
            self._inputs[current.name].value = current.value
        self._show_origin(current)

    @property
    def _texts(self) -> dict[str, str]:
        return {name: box.value for name, box in self._inputs.items()}

    def _filled(self) -> Filled:
        """The filled form. Raises ValueError if a text is not allowed."""
        texts = {name: self._chosen[name].text if entry.only and name in self._chosen else text.strip()
                 for (name, entry), text in zip(self._fields.items(), self._texts.values(), strict=True)}
        changed = {name: text for name, text in texts.items()
                   if name not in self._given_back and (
                       text != self._fields[name].value.strip() or self._names_another(name))}
        for name in changed:
            if self._fields[name].only and texts[name] and name not in self._chosen:
                raise ValueError(f"{self._fields[name].label}: {texts[name]!r} is not in the list")
        return Filled(texts, changed, {name: self._chosen[name] for name in changed if name in self._chosen},
                      frozenset(self._given_back))

    def _names_another(self, name: str) -> bool:
        """Whether a namesake of what stood there was chosen."""
        chosen = self._chosen.get(name)
        return chosen is not None and chosen.id not in (None, self._fields[name].id)

    def action_save(self) -> None:
        if self.recording:
            return
        try:
            filled = self._filled()
            if not (filled.changed or filled.given_back or self._proposed):
                self.app.say("Nothing was changed.")
                self.dismiss(None)
                return
            job = self._save(filled)
        except (ValueError, CatalogueError) as error:
            self._refuse(error)
            return
        self.recording = True
        self.record(self._title, job, self.dismiss, failed=self._failed)

    def _failed(self, error: Exception) -> None:
        self.recording = False
        if isinstance(error, CatalogueError):
            self._refuse(error)
        else:
            self.app.failed(error, not_done=self._title)

    def _refuse(self, error: Exception) -> None:
        words = f"{error}".removesuffix(".") + "."
        if isinstance(error, AlreadyExists) and self._clash:
            words = f"{error.message} {self._clash}"
        self._wrong.update(line(words))
