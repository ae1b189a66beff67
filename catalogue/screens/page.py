"""What every screen shares: the lines around it, asking the catalogue off the thread, and one place for errors."""

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, ClassVar, TypeVar, cast

from textual.app import ComposeResult
from textual.screen import ModalScreen, Screen
from textual.widget import Widget
from textual.worker import Worker

from catalogue.records.database import Database
from catalogue.screens.asking import ask
from catalogue.screens.bars import KeyLine, PlaceBar, WorkLine

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp

R = TypeVar("R")
T = TypeVar("T")


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
        """On the reading thread; see :func:`ask`."""
        return ask(self, self.shop.lanes["read"], job, then, group=group)

    def ask_disks(self, job: Callable[[Database], T], then: Callable[[T], object], *, group: str) -> Worker[None]:
        """For jobs that touch the stores: a dead share holds up only this lane."""
        return ask(self, self.shop.lanes["disks"], job, then, group=group)

    def catalogue_changed(self) -> None:
        """Something was recorded: show it. Pages with lists reload theirs."""

    def stores_changed(self) -> None:
        """A disk came or went: pages that show it look again."""

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

    def ask(self, job: Callable[[Database], R], then: Callable[[R], object], *, group: str) -> Worker[None]:
        """On the reading thread; see :func:`ask`."""
        return ask(self, self.shop.lanes["read"], job, then, group=group)

    def action_back(self) -> None:
        self.dismiss(None)
