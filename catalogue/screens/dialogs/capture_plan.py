"""Planning captures of an original in tiles: how many on each of the shop's beds, and how far they overlap."""

from collections.abc import Iterable

from textual.containers import Grid
from textual.widget import Widget
from textual.widgets import Input, Label, Static

from catalogue.errors import CatalogueError, sentence
from catalogue.ledger import values
from catalogue.operations.capturing import capture_plans, summarize
from catalogue.screens.page import Dialog
from catalogue.screens.texts.formats import safe
from catalogue.settings import Settings


class CapturePlanDialog(Dialog[None]):
    """Size of the original and overlap; the plans for all beds follow what is typed, the best bed first."""

    KEY_CONTEXT = "plan"
    PANEL = "plan"

    def __init__(self, size_mm: tuple[float, float] | None = None) -> None:
        super().__init__("How to capture an original")
        self._size_box = Input(values.shown_size(*size_mm) if size_mm else "", placeholder="e.g. 90 x 90 cm",
                               id="plan-size", compact=True)
        self._overlap = Input(f"{self.app.home.settings.tile_overlap:.0%}", id="plan-overlap", compact=True)
        self._words = Static("", id="plan-words", markup=False)

    def body(self) -> Iterable[Widget]:
        yield Grid(Label("Original"), self._size_box, Label("Overlap"), self._overlap, id="plan-form")
        yield self._words

    def on_mount(self) -> None:
        self._size_box.focus()
        self._plan()

    def on_input_changed(self, _: Input.Changed) -> None:
        self._plan()

    def _plan(self) -> None:
        words = plan_words(self.app.home.settings, self._size_box.value, self._overlap.value)
        self._words.update("\n".join(safe(line) for line in words))


def plan_words(settings: Settings, size: str, overlap: str) -> list[str]:
    """The plans for what is typed, or what is wrong with it."""
    if not size.strip():
        return ["Enter the size of the original."]
    try:
        width, height = values.size_mm(size)
        share = _share(overlap)
        return [line for plan in capture_plans(settings, width, height, overlap=share) for line in summarize(plan)]
    except CatalogueError as error:
        return [str(error)]
    except ValueError as error:
        return [sentence(error)]


def _share(text: str) -> float:
    """An overlap as typed: ``25 %`` or ``0.25``. Raises ValueError."""
    try:
        number = float(text.strip().removesuffix("%").strip().replace(",", "."))
    except ValueError:
        raise ValueError(f"{text!r} is not an overlap such as 25%") from None
    share = number / 100 if "%" in text or number >= 1 else number
    if not 0 <= share <= 0.9:
        raise ValueError("an overlap must be from 0 to 90%")
    return share
