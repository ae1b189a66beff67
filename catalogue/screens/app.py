"""The Textual app: its pages, its threads, and the services every screen may use."""

import gc
import os
import sys
from collections.abc import Callable, Iterable, Mapping
from functools import partial
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, Any, ClassVar

from textual import events
from textual.app import SystemCommand
from textual.binding import BindingType
from textual.command import CommandPalette
from textual.dom import DOMNode
from textual.notifications import SeverityLevel
from textual.screen import Screen
from textual.widgets import Input

from catalogue.errors import CatalogueError, one_line
from catalogue.records.database import UPGRADING, needs_upgrade, open_seat, refuse_where_lost
from catalogue.screens.background.changes import ChangeWatch
from catalogue.screens.background.garbage import EVERY, collect_when_idle
from catalogue.screens.background.line_speed import LineSpeed
from catalogue.screens.background.screen_cache import PAGES, build_ahead, cached_screen, new_page
from catalogue.screens.background.threads import WorkerThreads
from catalogue.screens.background.write_queue import WriteQueue
from catalogue.screens.key_gate import KeyGate
from catalogue.screens.keys import EVERYWHERE, KEYS, bindings
from catalogue.screens.pages.browse import BrowsePage
from catalogue.screens.pictures.graphics import SharpPicture, block_signs, sharp_pictures
from catalogue.screens.pictures.picture import Drawings
from catalogue.screens.textual_internals import CachedStylesheet, ThriftyApp, tell_lone_escapes_apart
from catalogue.screens.theme import DARK, LIGHT
from catalogue.settings import Home

if TYPE_CHECKING:
    from catalogue.indexing.corrections import Correction
    from catalogue.records.orders import Line
    from catalogue.screens.background.work import Job, Work
    from catalogue.screens.page import Page


def open_screens(home: Home, *, mouse: bool = True) -> None:
    """Run the screens until the person quits. Needs a terminal. Raises Damaged: the catalogue's file is gone."""
    refuse_where_lost(home.database)
    app = CatalogueApp(home, sharp=sharp_pictures(home.settings), ahead=True)
    gc.freeze()     # modules stay, and need not be looked through
    tell_lone_escapes_apart()
    app.run(mouse=mouse)
    for change in app.writes.open:
        print(f"Not recorded: {change}.", file=sys.stderr)
    app.close_threads()
    if app.work is not None and not app.work.wait(0):
        # What is committed is whole, as after a power cut; a slow disk must not delay quitting.
        from multiprocessing import active_children

        for child in active_children():
            child.terminate()
        os._exit(0)


class CatalogueApp(ThriftyApp[None]):
    """The screens over one catalogue.

    ``colours``: whether pictures are drawn in colour, None asks the terminal's settings. ``sharp``: the widget for
    sharp pictures, where there is one. ``ahead``: make the screens that are sure to be wanted before they are.
    """

    TITLE = "Archive"
    CSS_PATH = "screens.tcss"
    BINDINGS: ClassVar[list[BindingType]] = bindings(EVERYWHERE)
    MODES: ClassVar[dict[str, str | Callable[[], Screen[Any]]]] = {
        "browse": BrowsePage, **{mode: partial(new_page, module, name) for mode, module, name in PAGES},
        "first": partial(new_page, "add_store", "AddStorePage", first=True)}
    # Textual declares these on the instance, so they cannot be ClassVar here.
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (120, "-wide")]  # noqa: RUF012
    VERTICAL_BREAKPOINTS = [(0, "-low"), (40, "-high")]  # noqa: RUF012

    def __init__(self, home: Home, *, colours: bool | None = None, sharp: SharpPicture | None = None,
                 ahead: bool = False) -> None:
        # The page that comes first is the app's first screen: an empty one before it would be styled and laid out too.
        self.DEFAULT_MODE = "browse" if home.database.exists() else "first"  # type: ignore[misc]  # read once, by self
        super().__init__()
        self.home = home
        self._colours = colours
        self.line_speed = LineSpeed(home.settings.connection)
        self.sharp = sharp
        self.overlaid = sharp is not None
        self._ahead = ahead
        self._first_list_shown = False
        self._upgrading = not home.settings.read_only and needs_upgrade(home.database)
        self.touched = 0.0   # when the last key came, or the mouse
        self.drawings = Drawings()
        self.threads = WorkerThreads(partial(open_seat, home))
        self.plain_threads = WorkerThreads(object)  # without a connection: pictures, folders
        self.gate = KeyGate(self)
        self.changes = ChangeWatch(self)
        self.writes = WriteQueue(self)
        self.work: Work | None = None
        self.corrected: list[Correction] = []   # in this session and not taken back, the last one last
        self.last_order: Line | None = None     # a line of the order recorded last in this session
        self.register_theme(DARK)
        self.register_theme(LIGHT)
        self.theme = LIGHT.name if home.settings.theme == "light" else DARK.name
        # A cursor that blinks is sent twice a second, for as long as a field has the focus.
        Input.cursor_blink = False  # type: ignore[assignment]
        self.stylesheet = CachedStylesheet(variables=self.get_css_variables())

    @property
    def palette(self) -> str:
        """How pictures are drawn: in colour, or in plain characters with NO_COLOR or 16 colours."""
        colours = self._colours
        if colours is None:
            colours = not self.no_color and self.console.color_system in ("256", "truecolor")
        return "colours" if colours else "light on dark" if self.current_theme.dark else "dark on light"

    @property
    def blocks(self) -> str:
        """The set of block characters for pictures, a name in ``pictures.blocks.BLOCKS``."""
        return block_signs(self.home.settings, os.environ)

    @property
    def day_form(self) -> str:
        """The shop's date format."""
        return self.home.settings.dates

    def on_mount(self) -> None:
        self.changes.begin()
        self.gate.begin()
        if self._upgrading:     # nothing is listed until that is done
            self.notify(UPGRADING, timeout=600)
        # After Ctrl-Z and fg Textual opens its screen again, but draws only what changes.
        self.app_resume_signal.subscribe(self, lambda _: self._draw_again())
        self.set_interval(EVERY, lambda: collect_when_idle(monotonic() - self.touched))

    def update_sent(self, size: int) -> None:
        if self.line_speed.wants_answer(size, monotonic()):
            self.ask_terminal()

    def on_terminal_supports_synchronized_output(self) -> None:
        """The terminal has answered."""
        self.line_speed.answered(monotonic())

    def _draw_again(self) -> None:
        self.forget_sent()
        self.refresh(layout=True)

    def on_unmount(self) -> None:
        self.gate.end()

    async def on_event(self, event: events.Event) -> None:
        if isinstance(event, events.InputEvent | events.Paste):
            if not self.screen_stack:
                return      # the screens closed meanwhile
            if not event.is_forwarded:
                self.touched = monotonic()
                if not self.gate.admits(event):
                    return
        await super().on_event(event)

    def first_list_shown(self) -> None:
        """Once the first list is shown, start what had to wait: look at the disks, and build further screens if
        enabled."""
        if self._first_list_shown:
            return
        self._first_list_shown = True
        if self._upgrading:
            self.clear_notifications()
        self.changes.look_at_disks()
        if self._ahead:
            build_ahead(self)

    def close_threads(self) -> None:
        """Let the threads end, without waiting."""
        self.threads.close()
        self.plain_threads.close()

    def preview(self, sha256: str | None) -> Path | None:
        """The path of a scan's preview, if it should have one."""
        return self.home.preview(sha256) if sha256 else None

    # What goes wrong, in one place

    def failed(self, error: BaseException, not_done: str = "") -> None:
        """Show an error and what was not done; a programming error is logged with its traceback, and the screens go
        on."""
        lost = f"Not done: {not_done}. " if not_done else ""
        if isinstance(error, CatalogueError):
            where = f"\n{error.path}" if error.path else ""
            self.say(f"{lost}{error.message} {error.hint}{where}".strip(), "error")
            return
        self.log.error(error)
        self.say(f"{lost or 'That failed: '}{type(error).__name__}: {one_line(error)}. Nothing was left half done.",
                 "error")

    def say(self, text: str, severity: SeverityLevel = "information") -> None:
        """Show a short message at the edge of the screen; never read as markup."""
        self.notify(text, severity=severity, markup=False, timeout=8 if severity == "error" else 5)

    async def run_action(self, action: Any, default_namespace: DOMNode | None = None,
                         namespaces: Mapping[str, DOMNode] | None = None) -> bool:
        """Run the action of a key or of the palette; if it is refused, say why."""
        try:
            return await super().run_action(action, default_namespace, namespaces)
        except CatalogueError as error:
            self.failed(error)
            return True

    # Long work

    def begin(self, name: str, job: "Job", describe: Callable[[Any], str],
              then: Callable[[Any], object] | None = None) -> bool:
        """Start long work; one job at a time. ``describe`` words its result; ``then`` receives it if the work
        finished."""
        if self.home.settings.read_only:
            self.say("This workstation is read-only (read_only in settings.toml).", "warning")
            return False
        if self.work is not None:
            self.say(f"{self.work.name} is still running. Press x to stop it first.", "warning")
            return False
        from catalogue.screens.background.work import Work

        self.work = Work(name, job, describe, then)
        self.work.start(self.home, partial(self.call_later, self._work_ended))
        return True

    def action_stop_work(self) -> None:
        if self.work is None:
            self.say("Nothing is running.")
        else:
            self.work.stop()

    def _work_ended(self, work: "Work", result: Any, error: Exception | None, stopped: bool) -> None:
        self.work = None
        if error is not None:
            self.say(f"{work.name} could not continue.", "error")
        elif stopped:
            done = "What was finished is kept." if result is None else f"Done so far: {work.describe(result)}"
            self.say(f"{work.name} stopped. {done}", "warning")
        else:
            self.say(f"{work.name} finished. {work.describe(result)}")
        self.changed()
        if error is not None:
            self.failed(error)
        elif work.then is not None and not stopped:
            work.then(result)

    def changed(self) -> None:
        """Tell every page that the catalogue has changed."""
        self.changes.tell()

    # Actions everywhere

    async def action_show_page(self, mode: str) -> None:
        """Go to a page; from something open over it, back to it."""
        if self.current_mode == "first":
            self.say("Choose a folder of scans first.")
        elif mode == self.current_mode:
            while len(self.screen_stack) > 1:
                await self.pop_screen()
        else:
            with self.batch_update():
                await self.switch_mode(mode)

    def delay_update(self, delay: float = 0.001) -> None:
        """Textual holds drawing back for a twentieth of a second when the page changes; ours is drawn once made."""
        super().delay_update(delay)

    def action_search(self) -> None:
        from catalogue.screens.actions.searching import open_search

        open_search(self)

    def undo_last(self, page: "Page") -> None:
        """Undo the last correction, as ``u`` on a page asks for."""
        from catalogue.screens.actions.correcting import take_back

        take_back(page)

    def action_help(self) -> None:
        from catalogue.screens.dialogs.help import HelpDialog

        dialog = cached_screen(self, HelpDialog)
        dialog.begin(getattr(self.screen, "KEY_CONTEXT", ""))
        self.push_screen(dialog)

    def action_turn_light(self) -> None:
        self.theme = LIGHT.name if self.theme == DARK.name else DARK.name

    def action_leave(self) -> None:
        from catalogue.screens.actions.leaving import leave

        leave(self)

    def action_command_palette(self) -> None:
        """Open the palette, with our own words in its line."""
        if not isinstance(self.screen, CommandPalette):
            self.push_screen(CommandPalette(placeholder="What do you want to do?", id="--command-palette"))

    def get_system_commands(self, screen: Screen[Any]) -> Iterable[SystemCommand]:
        """The palette: every action of the screen and of the app, from the table of keys."""
        context = getattr(screen, "KEY_CONTEXT", "")
        for key in (*KEYS.get(context, ()), *EVERYWHERE):
            if key.action != "app.command_palette":
                yield SystemCommand(f"{key.label[:1].upper()}{key.label[1:]}  ({key.shown})", key.help,
                                    partial(self.run_action, key.action, screen))
