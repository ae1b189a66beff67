"""What every screen shares: the lines around it, asking the catalogue off the thread, and one place for errors."""

from collections.abc import Callable, Iterable
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar, cast

from rich.segment import Segment
from rich.style import Style as RichStyle
from textual.app import ComposeResult, RenderResult
from textual.binding import Binding, BindingType
from textual.color import Color
from textual.css.styles import RulesMap
from textual.events import ScreenResume
from textual.message_pump import MessagePump
from textual.renderables.background_screen import BackgroundScreen
from textual.screen import ModalScreen, Screen
from textual.strip import Strip
from textual.style import Style
from textual.visual import RenderOptions, Visual
from textual.widget import Widget
from textual.worker import Worker

from catalogue.records.database import Database
from catalogue.screens.background.tasks import run_in_thread
from catalogue.screens.textual_internals import HeldScreen, drawn_strips, keep_styles, settle_styles
from catalogue.screens.widgets.bars import KeyLine, PlaceBar, WorkLine

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp

R = TypeVar("R")
T = TypeVar("T")


def app_of(widget: Widget | Screen[Any]) -> "CatalogueApp":
    """The app that a widget or screen is part of."""
    return cast("CatalogueApp", widget.app)


class Page(HeldScreen[None]):
    """A full screen of one place.

    ``PLACE`` names its keys, ``MODE`` the place it belongs to. ``FOLLOWS``: shows what others write while it is seen.
    """

    CSS_PATH: ClassVar[Path | None] = Path(__file__).with_name("pages.tcss")
    PLACE: ClassVar[str] = ""
    MODE: ClassVar[str] = ""
    FOLLOWS: ClassVar[bool] = True
    stale = False   # the catalogue has changed since it was last shown

    @property
    def catalogue_app(self) -> "CatalogueApp":
        """The app this screen is part of."""
        return app_of(self)

    def body(self) -> Iterable[Widget]:
        """The screen's own widgets."""
        return ()

    def compose(self) -> ComposeResult:
        settle_styles(self)
        yield PlaceBar(self.MODE)
        yield from self.body()
        yield KeyLine(self.PLACE)
        yield WorkLine()

    def ask(self, job: Callable[[Database], T], then: Callable[[T], object], *, group: str,
            holds: MessagePump | None = None) -> Worker[None]:
        """On the reading thread; see :func:`ask`."""
        return run_in_thread(self, self.catalogue_app.threads["read"], job, then, group=group, holds=holds)

    def ask_disks(self, job: Callable[[Database], T], then: Callable[[T], object], *, group: str,
                  holds: MessagePump | None = None, patience: float | None = None,
                  exclusive: bool = True) -> Worker[None]:
        """For jobs that touch the stores: a dead share holds up only this thread."""
        return run_in_thread(self, self.catalogue_app.threads["disks"], job, then, group=group, holds=holds,
                             patience=patience, exclusive=exclusive)

    def on_screen_resume(self, event: ScreenResume) -> None:
        keep_styles(self, event)
        self.query_one(PlaceBar).refresh()
        if self.stale:
            self.stale = False
            self.catalogue_changed()

    def catalogue_changed(self) -> None:
        """Something was recorded: show it. Pages with lists reload theirs."""

    def stores_changed(self) -> None:
        """A disk came or went: pages that show it look again."""

    def action_back(self) -> None:
        if len(self.app.screen_stack) > 1:
            self.app.pop_screen()


class Dialog(ModalScreen[T]):
    """A panel over the page; Esc leaves it without an answer, Ctrl-Q the program from it too."""

    CSS_PATH = Path(__file__).with_name("dialogs.tcss")
    PLACE: ClassVar[str] = ""
    BINDINGS: ClassVar[list[BindingType]] = [Binding("ctrl+q", "app.leave", show=False),
                                             Binding("ctrl+z", "app.suspend_process", show=False)]

    @property
    def catalogue_app(self) -> "CatalogueApp":
        """The app this screen is part of."""
        return app_of(self)

    def ask(self, job: Callable[[Database], R], then: Callable[[R], object], *, group: str,
            holds: MessagePump | None = None) -> Worker[None]:
        """On the reading thread; see :func:`ask`."""
        return run_in_thread(self, self.catalogue_app.threads["read"], job, then, group=group, holds=holds)

    def on_screen_resume(self, event: ScreenResume) -> None:
        keep_styles(self, event)

    def render(self) -> RenderResult:  # type: ignore[override]  # whatever may be drawn, as for every widget
        behind = super().render()
        return DimmedBackground(behind) if isinstance(behind, BackgroundScreen) else behind

    def action_back(self) -> None:
        self.dismiss(None)


class DimmedBackground(Visual):
    """The page behind a panel, dimmed.

    Textual mixes the colours of every cell again for each drawing, which over a picture takes longer than a key may;
    here every pair of colours is mixed once.
    """

    def __init__(self, behind: BackgroundScreen) -> None:
        self._screen, self._veil = behind.screen, behind.color

    def render_strips(self, width: int, height: int | None, style: Style,  # noqa: ARG002 - Textual's
                      options: RenderOptions) -> list[Strip]:  # noqa: ARG002
        return [Strip([Segment(text, _dimmed(style or RichStyle.null(), self._veil)) for text, style, _ in strip],
                      strip.cell_length)
                for strip in drawn_strips(self._screen)]

    def get_optimal_width(self, rules: RulesMap, container_width: int) -> int:  # noqa: ARG002 - Textual's
        return container_width

    def get_height(self, rules: RulesMap, width: int) -> int:  # noqa: ARG002 - Textual's
        return self._screen.size.height


@lru_cache(8192)
def _dimmed(style: RichStyle, veil: Color) -> RichStyle:
    """A style seen through a veil; what a click would do is left out."""
    ink, ground = ((Color.from_rich_color(color) + veil).rich_color if color is not None else None
                   for color in (style.color, style.bgcolor))
    return style.clear_meta_and_links() + RichStyle.from_color(ink, ground)
