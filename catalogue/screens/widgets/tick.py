"""A box to tick that does not tell its two states apart by colour alone, as Textual's own does."""

from textual.content import Content
from textual.widgets import Checkbox


class Tick(Checkbox):
    """The cross is there only while the choice is made."""

    def render(self) -> Content:
        self.BUTTON_INNER = "X" if self.value else " "
        return super().render()
