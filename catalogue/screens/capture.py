"""How an original is captured in tiles: how many on this bed, and how far they overlap."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Grid, Vertical
from textual.widgets import Input, Label, Static

from catalogue.ledger import values
from catalogue.likeness.tiles import expected
from catalogue.screens.bars import KeyLine
from catalogue.screens.keys import bindings
from catalogue.screens.page import Dialog
from catalogue.screens.wording import counted


class CapturePlanDialog(Dialog[None]):
    """Size of the original, bed and overlap; the plan follows what is typed."""

    PLACE = "plan"
    BINDINGS: ClassVar[list[BindingType]] = bindings("plan")

    def __init__(self, size_mm: tuple[float, float] | None = None) -> None:
        super().__init__()
        self._original = values.shown_size(*size_mm) if size_mm else ""

    def compose(self) -> ComposeResult:
        settings = self.shop.home.settings
        with Vertical(classes="panel plan"):
            yield Static("How to capture an original", classes="panel-title", markup=False)
            with Grid(id="plan-form"):
                for name, label, value in (
                        ("size", "Original", self._original),
                        ("bed", "Bed", values.shown_size(*settings.bed_mm)),
                        ("overlap", "Overlap", f"{settings.tile_overlap:.0%}")):
                    yield Label(label)
                    yield Input(value, placeholder="e.g. 90 x 90 cm" if name == "size" else "", id=f"plan-{name}",
                                compact=True)
            yield Static("", id="plan-words", markup=False)
            yield KeyLine(self.PLACE, alone=True)

    def on_mount(self) -> None:
        self.query_one("#plan-size", Input).focus()
        self._plan()

    def on_input_changed(self, _: Input.Changed) -> None:
        self._plan()

    def on_input_submitted(self, _: Input.Submitted) -> None:
        self.dismiss(None)

    def _plan(self) -> None:
        size, bed, overlap = (self.query_one(f"#plan-{name}", Input).value for name in ("size", "bed", "overlap"))
        self.query_one("#plan-words", Static).update("\n".join(plan_words(size, bed, overlap)))


def plan_words(size: str, bed: str, overlap: str) -> list[str]:
    """The plan for what is typed, or what is wrong with it."""
    if not size.strip():
        return ["Say how large the original is."]
    try:
        original, on = values.size_mm(size), values.size_mm(bed)
        share = _share(overlap)
        across, down = expected(original, on, share)
    except ValueError as error:
        return [f"{str(error)[:1].upper()}{str(error)[1:]}."]
    if across * down == 1:
        return ["One capture: it lies on the bed whole."]
    long, short = max(on), min(on)
    long_side_across = (across, down) == (_captures(original[0], long, share), _captures(original[1], short, share))
    along = (long, short) if long_side_across else (short, long)
    said = [f"{across} × {down}: {counted(across * down, 'capture')}, the bed's long side "
            f"{'across' if long_side_across else 'down'} the original."]
    for count, length, side, way in ((across, original[0], along[0], "Across"), (down, original[1], along[1], "Down")):
        if count > 1:
            step = (length - side) / (count - 1)
            said.append(f"{way}: move it by {values.shown_mm(round(step))} cm each time; neighbours overlap by "
                        f"{values.shown_mm(round(side - step))} cm ({1 - step / side:.0%}).")
    return said


def _share(text: str) -> float:
    """An overlap as typed: ``25 %`` or ``0.25``. Raises ValueError."""
    plain = text.strip().removesuffix("%").strip().replace(",", ".")
    try:
        number = float(plain)
    except ValueError:
        raise ValueError(f"{text!r} is not an overlap such as 25%") from None
    share = number / 100 if "%" in text or number >= 1 else number
    if not 0 <= share <= 0.9:
        raise ValueError("an overlap is from 0 to 90%")
    return share


def _captures(length: float, side: float, overlap: float) -> int:
    return expected((length, 1.0), (side, 1.0), overlap)[0] if length > 1 and side > 1 else 1
