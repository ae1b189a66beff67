"""What every screen shares: the lines around it, asking the catalogue off the thread, and one place for errors."""

from asyncio import wrap_future
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, ClassVar, TypeVar, cast

from textual.app import ComposeResult
from textual.screen import ModalScreen, Screen
from textual.widget import Widget
from textual.worker import Worker

from catalogue.records.database import Database
from catalogue.screens.bars import KeyLine, PlaceBar, WorkLine

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp

T = TypeVar("T")


def ask(widget: Widget, job: Callable[[Database], T], then: Callable[[T], object], *, group: str) -> Worker[None]:
    """Run ``job`` on the reading thread, then ``then`` on the screen's.

    A newer question of the same group replaces an older one, whose answer is dropped, and which is not even asked if
    its turn has not come. Errors go to the app's one handler.
    """
    app = cast("CatalogueApp", widget.app)

    async def answer() -> None:
        try:
            result = await wrap_future(app.read_lane.ask(job))
        except Exception as error:  # a worker's edge
            app.failed(error)
            return
        if widget.is_attached:
            then(result)

    return widget.run_worker(answer(), group=group, exclusive=True, exit_on_error=False)


class Page(Screen[None]):
    """A full screen of one place. ``PLACE`` names its keys, ``MODE`` the place it belongs to."""

    PLACE: ClassVar[str] = ""
    MODE: ClassVar[str] = ""

    @property
    def shop(self) -> "CatalogueApp":
        """The app, as what it is."""
        return cast("CatalogueApp", self.app)

    def body(self) -> Iterable[Widget]:
        """The screen's own widgets."""
        return ()

    def compose(self) -> ComposeResult:
        yield PlaceBar(self.MODE or self.shop.current_mode)
        yield from self.body()
        yield KeyLine(self.PLACE)
        yield WorkLine()

    def ask(self, job: Callable[[Database], T], then: Callable[[T], object], *, group: str) -> Worker[None]:
        """See :func:`ask`."""
        return ask(self, job, then, group=group)

    def catalogue_changed(self) -> None:
        """Something was recorded: show it. Pages with lists reload theirs."""

    def action_back(self) -> None:
        if len(self.app.screen_stack) > 1:
            self.app.pop_screen()


class Dialog(ModalScreen[T]):
    """A panel over the page; Esc leaves it without an answer."""

    PLACE: ClassVar[str] = ""

    @property
    def shop(self) -> "CatalogueApp":
        """The app, as what it is."""
        return cast("CatalogueApp", self.app)

    def ask(self, job: Callable[[Database], object], then: Callable[..., object], *, group: str) -> Worker[None]:
        """See :func:`ask`."""
        return ask(self, job, then, group=group)

    def action_back(self) -> None:
        self.dismiss(None)
