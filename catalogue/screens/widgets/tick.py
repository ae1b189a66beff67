"""A check box whose two states differ by more than colour, unlike Textual's own."""

from textual.content import Content
from textual.widgets import Checkbox


class Tick(Checkbox):
    """Shows a cross only while it is ticked."""

    def render(self) -> Content:
        self.BUTTON_INNER = "X" if self.value else " "
        return super().render()
