"""A choice to tick. Textual's own box shows its cross in both states and tells them apart by colour alone."""

from textual.content import Content
from textual.widgets import Checkbox


class Tick(Checkbox):
    """The cross is there only while the choice is made."""

    def render(self) -> Content:
        self.BUTTON_INNER = "X" if self.value else " "
        return super().render()
