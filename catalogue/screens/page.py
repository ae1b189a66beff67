"""What all screens share: the bars around them, queries off the UI thread, and one handler for errors."""

from collections.abc import Callable, Iterable
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar, cast

from rich.segment import Segment
from rich.style import Style as RichStyle
from textual.app import ComposeResult, RenderResult
from textual.binding import Binding, BindingType
from textual.color import Color
from textual.containers import Vertical
from textual.css.styles import RulesMap
from textual.events import ScreenResume
from textual.message_pump import MessagePump
from textual.renderables.background_screen import BackgroundScreen
from textual.screen import ModalScreen, Screen
from textual.strip import Strip
from textual.style import Style
from textual.visual import RenderOptions, Visual
from textual.widget import Widget
from textual.widgets import Input, Static

from catalogue.records.database import Database
from catalogue.screens.background.threads import run_in_thread
from catalogue.screens.keys import KEYS, bindings
from catalogue.screens.texts.formats import safe
from catalogue.screens.textual_internals import HeldScreen, drawn_strips, keep_styles, settle_styles
from catalogue.screens.widgets.bars import KeyLine, PageBar, WorkLine
from catalogue.screens.widgets.row_table import RowTable

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp

R = TypeVar("R")
T = TypeVar("T")


class CatalogueScreen(Screen[T]):
    """What pages and dialogs share: the app, its reading thread, and the keys of the table for ``KEY_CONTEXT``."""

    KEY_CONTEXT: ClassVar[str] = ""

    def __init_subclass__(cls, **options: Any) -> None:
        if "KEY_CONTEXT" in cls.__dict__:
            cls.BINDINGS = bindings(KEYS[cls.KEY_CONTEXT])
        super().__init_subclass__(**options)

    @property
    def app(self) -> "CatalogueApp":  # type: ignore[override]  # an app without a result is one
        """The app this screen is part of."""
        return cast("CatalogueApp", super().app)

    def ask(self, job: Callable[[Database], R], then: Callable[[R], object], *, group: str, thread: str = "read",
            holds: MessagePump | None = None, patience: float | None = None, exclusive: bool = True) -> None:
        """Ask the catalogue on a thread; see :func:`run_in_thread`. Jobs that touch the stores go to "disks": a dead
        share holds up only that one."""
        run_in_thread(self, self.app.threads[thread], job, then, group=group, holds=holds, patience=patience,
                      exclusive=exclusive)

    def record(self, name: str, job: Callable[[Database], R], then: Callable[[R], object], *,
               failed: Callable[[Exception], object] | None = None) -> None:
        """Record something; keys of this screen wait until it is done. See :class:`WriteQueue`."""
        self.app.writes.add(name, job, then, holds=self, failed=failed)

    def ask_plain(self, thread: str, job: Callable[[], R], then: Callable[[R], object], *, group: str,
                  holds: MessagePump | None = None, patience: float | None = None) -> None:
        """As :meth:`ask`, on a thread without a connection."""
        run_in_thread(self, self.app.plain_threads[thread], lambda _: job(), then, group=group, holds=holds,
                      patience=patience)

    def on_screen_resume(self, event: ScreenResume) -> None:
        keep_styles(self, event)

    async def on_row_table_selected(self, _: RowTable.Selected) -> None:
        """A second click on a row does what Enter does."""
        for key in KEYS[self.KEY_CONTEXT]:
            if "enter" in key.keys.split(","):
                await self.run_action(key.action)


class Page(HeldScreen[None], CatalogueScreen[None]):
    """A full screen.

    ``MODE`` names the page on a digit that it belongs to; ``LIST`` is the id of the list that has the cursor at first,
    and whose rows are marked. ``FOLLOWS``: shows what others write while it is seen.
    """

    CSS_PATH: ClassVar[Path | None] = Path(__file__).with_name("pages.tcss")
    MODE: ClassVar[str] = ""
    LIST: ClassVar[str] = ""
    FOLLOWS: ClassVar[bool] = True
    stale = False   # the catalogue has changed since it was last shown

    def body(self) -> Iterable[Widget]:
        """The screen's own widgets."""
        return ()

    def compose(self) -> ComposeResult:
        settle_styles(self)
        yield PageBar(self.MODE)
        yield from self.body()
        yield KeyLine(self.KEY_CONTEXT)
        yield WorkLine()

    def on_mount(self) -> None:
        self.load()
        if self.LIST:
            self.query_one(f"#{self.LIST}").focus()

    def on_screen_resume(self, _: ScreenResume) -> None:
        self.query_one(PageBar).refresh()
        if self.stale:
            self.stale = False
            self.catalogue_changed()

    def load(self, *, keep: bool = False) -> None:
        """Read what the page lists; with ``keep`` the cursor stays on its row."""

    def catalogue_changed(self) -> None:
        """Something was recorded: update the page."""
        self.load(keep=True)

    def stores_changed(self) -> None:
        """A disk was connected or disconnected: pages that show it look again."""

    def action_back(self) -> None:
        if len(self.app.screen_stack) > 1:
            self.app.pop_screen()

    def action_mark(self) -> None:
        self.query_one(f"#{self.LIST}", RowTable).toggle_mark()

    def action_undo(self) -> None:
        self.app.undo_last(self)


class Dialog(ModalScreen[T], CatalogueScreen[T]):
    """A panel over the page; Esc leaves it without an answer, Ctrl-Q the program from it too."""

    CSS_PATH = Path(__file__).with_name("dialogs.tcss")
    BINDINGS: ClassVar[list[BindingType]] = [Binding("ctrl+q", "app.leave", show=False),
                                             Binding("ctrl+z", "app.suspend_process", show=False)]
    PANEL: ClassVar[str] = ""           # classes of the panel, for its size
    KEY_LINE: ClassVar[bool] = True     # whether the keys stand below, where buttons do not say all
    recording = False   # what was entered is being recorded: the panel stays until the answer is there

    def __init__(self, title: str = "") -> None:
        super().__init__()
        self._title = title

    def body(self) -> Iterable[Widget]:
        """The panel's own widgets, below its title."""
        return ()

    def compose(self) -> ComposeResult:
        with Vertical(classes=f"panel {self.PANEL}"):
            if self._title:
                yield Static(safe(self._title), id="panel-title", classes="panel-title", markup=False)
            yield from self.body()
            if self.KEY_LINE:
                yield KeyLine(self.KEY_CONTEXT, exclusive=True)

    def render(self) -> RenderResult:  # type: ignore[override]  # whatever may be drawn, as for every widget
        behind = super().render()
        return DimmedBackground(behind) if isinstance(behind, BackgroundScreen) else behind

    async def on_input_submitted(self, _: Input.Submitted) -> None:
        """Enter in a field does what the first key on the line does."""
        await self.run_action(next(key.action for key in KEYS[self.KEY_CONTEXT] if key.rank == 1))

    def action_back(self) -> None:
        if self.recording:
            self.app.say("Recording …; this panel closes when it is done.")
        else:
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
    foreground, background = ((Color.from_rich_color(color) + veil).rich_color if color is not None else None
                              for color in (style.color, style.bgcolor))
    return style.clear_meta_and_links() + RichStyle.from_color(foreground, background)
