"""Answering what intake cannot know: whose work it is, what it shows, its role, how it was captured."""

from collections.abc import Iterable
from dataclasses import dataclass

from textual.containers import Grid, Horizontal, VerticalScroll
from textual.widget import Widget
from textual.widgets import Button, Input, Label, Select, Static

from catalogue.intake.capture import FIELDS
from catalogue.intake.proposals import Proposal
from catalogue.records.scans import ROLES
from catalogue.screens.page import Dialog


@dataclass(frozen=True, slots=True)
class Answers:
    """What the person said; ``role`` None where it stays as proposed."""

    artist: str
    piece: str
    role: str | None
    capture: dict[str, str]


class AnswerDialog(Dialog[Answers]):
    """One original's names, role and capture notes, filled with what is proposed."""

    PLACE = "answering"

    def __init__(self, proposal: Proposal) -> None:
        super().__init__(proposal.kind.value)
        self._proposal = proposal
        notes = dict(proposal.capture)
        self._notes = {name: notes.get(name, "") for name in (*FIELDS, *(n for n in notes if n not in FIELDS))}
        roles = {item.role for item in proposal.items}
        self._role = roles.pop() if len(roles) == 1 else ""

    def body(self) -> Iterable[Widget]:
        yield Static("\n".join(self._proposal.questions), classes="quiet", markup=False)
        with VerticalScroll(can_focus=False, id="answer-scroll"), Grid(id="answer-form"):
            yield Label("Artist")
            yield Input(self._proposal.artist.value, id="answer-artist", compact=True)
            yield Label("Piece")
            yield Input(self._proposal.piece.value, id="answer-piece", compact=True)
            yield Label("Role")
            yield Select([(role, role) for role in ROLES], prompt="as proposed for each",
                         value=self._role or Select.NULL, id="answer-role", compact=True)
            for number, (name, value) in enumerate(self._notes.items()):
                yield Label(name, markup=False)
                yield Input(value, id=f"answer-note-{number}", compact=True)
        with Horizontal(classes="buttons"):
            yield Button("Use these", id="yes", action="screen.answer", compact=True)
            yield Button("Cancel", id="no", action="screen.back", compact=True)

    def on_mount(self) -> None:
        unsure = "artist" if not self._proposal.artist.value else "piece"
        self.query_one(f"#answer-{unsure}", Input).focus()

    def action_answer(self) -> None:
        artist, piece = (self.query_one(f"#answer-{name}", Input).value.strip() for name in ("artist", "piece"))
        if not artist or not piece:
            self.app.say("Enter an artist and a title, or cancel and skip this one with Space.", "warning")
            return
        role = self.query_one("#answer-role", Select).value
        notes = {name: self.query_one(f"#answer-note-{number}", Input).value.strip()
                 for number, name in enumerate(self._notes)}
        self.dismiss(Answers(artist, piece, role if isinstance(role, str) and role != self._role else None,
                             {name: value for name, value in notes.items() if value}))
