"""The dialog that starts an audit: time limit, size limit, or a random share."""

from collections.abc import Iterable

from textual.containers import Horizontal
from textual.widget import Widget
from textual.widgets import Button, Input, Label, Static

from catalogue.fixity.audit import Budget
from catalogue.screens.background.jobs import start_audit
from catalogue.screens.page import Dialog


def budget_of(minutes: str, gigabytes: str, share: str) -> Budget:
    """What was typed as a budget; empty fields set no limit. Raises ValueError with words for the person."""
    limits: list[float | None] = []
    for text, name in ((minutes, "minutes"), (gigabytes, "gigabytes"), (share, "per cent")):
        try:
            value = float(text.replace(",", ".")) if text.strip() else None
        except ValueError:
            raise ValueError(f"{text!r} is not a number of {name}") from None
        if value is not None and not 0 < value < 1e9:
            raise ValueError(f"{text.strip()} {name} is not a limit: enter a number above 0")
        limits.append(value)
    spent, size, part = limits
    if part is not None and part > 100:
        raise ValueError("A share cannot be more than 100 per cent")
    return Budget(spent * 60 if spent else None, int(size * 1e9) if size else None, part / 100 if part else None)


class AuditDialog(Dialog[None]):
    """Time, size or share to check; all empty checks everything that is due."""

    KEY_CONTEXT = "auditing"

    def __init__(self, names: list[str]) -> None:
        super().__init__(f"Check {', '.join(names) if names else 'all stores'}")
        self._names = names
        self._limits = [Input(id=f"audit-{name}", compact=True) for name in ("minutes", "gigabytes", "share")]
        self._wrong = Static("", id="audit-wrong", classes="wrong", markup=False)
        self._start = Button("Start", id="start", action="screen.start", compact=True)

    def body(self) -> Iterable[Widget]:
        yield Static("Every file is read in full and compared with its checksum, oldest check first. Set a limit, or "
                     "leave all empty to check everything.", markup=False)
        for label, box in zip(("Minutes", "Gigabytes", "Random share, %"), self._limits, strict=True):
            yield Horizontal(Label(label), box, classes="field")
        yield self._wrong
        yield Horizontal(self._start, Button("Cancel", id="leave", action="screen.back", compact=True),
                         classes="buttons")

    def on_mount(self) -> None:
        self._start.focus()

    def action_start(self) -> None:
        try:
            budget = budget_of(*(box.value for box in self._limits))
        except ValueError as error:
            self._wrong.update(f"{error}.")
            return
        start_audit(self.app, self._names, budget)
        self.dismiss(None)
