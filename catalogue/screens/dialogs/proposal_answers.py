"""Answering what intake cannot know: artist, piece, role, and how it was captured."""

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
    """What the person said; ``role`` None if it stays as proposed."""

    artist: str
    piece: str
    role: str | None
    capture: dict[str, str]


class AnswerDialog(Dialog[Answers]):
    """One original's names, role and capture notes, filled with what is proposed."""

    KEY_CONTEXT = "answering"

    def __init__(self, proposal: Proposal) -> None:
        super().__init__(proposal.kind.value)
        self._proposal = proposal
        given = dict(proposal.capture)
        notes = {name: given.get(name, "") for name in (*FIELDS, *(n for n in given if n not in FIELDS))}
        roles = {item.role for item in proposal.items}
        self._role = roles.pop() if len(roles) == 1 else ""
        self._artist = Input(proposal.artist.value, id="answer-artist", compact=True)
        self._piece = Input(proposal.piece.value, id="answer-piece", compact=True)
        self._role_box = Select([(role, role) for role in ROLES], prompt="as proposed for each",
                                value=self._role or Select.NULL, id="answer-role", compact=True)
        self._note_boxes = {name: Input(value, id=f"answer-note-{number}", compact=True)
                            for number, (name, value) in enumerate(notes.items())}

    def body(self) -> Iterable[Widget]:
        yield Static("\n".join(self._proposal.questions), classes="quiet", markup=False)
        with VerticalScroll(can_focus=False, id="answer-scroll"), Grid(id="answer-form"):
            boxes: dict[str, Widget] = {"Artist": self._artist, "Piece": self._piece, "Role": self._role_box}
            for name, box in (*boxes.items(), *self._note_boxes.items()):
                yield Label(name, markup=False)
                yield box
        with Horizontal(classes="buttons"):
            yield Button("Use these", id="yes", action="screen.answer", compact=True)
            yield Button("Cancel", id="no", action="screen.back", compact=True)

    def on_mount(self) -> None:
        (self._piece if self._proposal.artist.value else self._artist).focus()

    def action_answer(self) -> None:
        artist, piece = self._artist.value.strip(), self._piece.value.strip()
        if not artist or not piece:
            self.app.say("Enter an artist and a title, or cancel and skip this one with Space.", "warning")
            return
        role = self._role_box.value
        notes = {name: box.value.strip() for name, box in self._note_boxes.items()}
        self.dismiss(Answers(artist, piece, role if isinstance(role, str) and role != self._role else None,
                             {name: value for name, value in notes.items() if value}))
