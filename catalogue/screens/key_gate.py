"""Input held back and let in one key at a time, so that each key acts on what its person saw.

A key that Textual has taken goes through several message queues before its action runs. A second key that comes
meanwhile would go to the widget that had the focus before the first one moved it, to a page that is being left, or to a
row of a list that is being replaced. So keys, pasted text and clicks wait here, outside all queues, until

- everything the key before has caused is handled: focus moved, panels mounted and laid out, rows set;
- what the key acts on is there: see :class:`Hold`.

An answer read from the catalogue is shown between two keys, never while one is on its way to its action.
"""

import asyncio
from collections import deque
from dataclasses import dataclass
from time import monotonic
from typing import TYPE_CHECKING

from textual import events
from textual.app import ScreenStackError
from textual.binding import Binding
from textual.message_pump import MessagePump
from textual.screen import ModalScreen
from textual.widget import Widget
from textual.widgets import Input
from textual.worker import Worker

from catalogue.screens.keys import EVERYWHERE, LISTS
from catalogue.screens.textual_internals import has_messages, is_laid_out, is_over
from catalogue.screens.widgets.row_table import RowTable

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp

LONGEST = 10.0      # seconds given to messages to be handled; only a fault of ours takes longer
HOP = 1.0           # seconds given to one round through the queues; a widget that is removed never answers
PATIENCE = 1.0      # seconds after which a person is told that keys wait, and may leave at once
LOOK = 0.05         # seconds between two looks at what is waited for, should nobody tell

ANYWHERE = frozenset(name for key in EVERYWHERE for name in key.keys.split(",") if name != "tab") | {"ctrl+c"}
# What a field itself binds. It inherits up, down and the like from what scrolls but does not act on them: they move in
# the list below it.
IN_FIELDS = frozenset(name for key in Input.BINDINGS if isinstance(key, Binding)
                      for name in key.key.split(",") if name != "enter")
IN_LISTS = frozenset(name for key in LISTS for name in key.keys.split(","))


@dataclass(eq=False, slots=True)
class Hold:
    """Something read or written on which keys depend.

    ``holder``: the app, then every key waits; a screen, then the keys of its page wait; a widget of it, then those too,
    but not those that move in a list, unless it is that list or one above it, which decides what it lists.
    ``patience``: seconds after which keys no longer wait, for disks that may never answer.
    """

    holder: MessagePump
    worker: Worker[None]
    patience: float | None
    since: float

    @property
    def given_up(self) -> bool:
        """Whether it took so long that keys no longer wait for it."""
        return self.patience is not None and monotonic() - self.since > self.patience

    @property
    def stands(self) -> bool:
        return not is_over(self.worker) and not self.given_up


class KeyGate:
    """Holds all input until its turn."""

    def __init__(self, app: "CatalogueApp") -> None:
        self._app = app
        self._waiting: deque[events.Event] = deque()
        self._admitted: list[events.Event] = []     # let in, and not yet seen by the app
        self._holds: list[Hold] = []
        self._came, self._free, self._ended = asyncio.Event(), asyncio.Event(), asyncio.Event()
        self._free.set()
        self._held_since: float | None = None
        self._task: asyncio.Task[None] | None = None

    def begin(self) -> None:
        """Start letting keys in, beginning with those that already wait."""
        self._task = asyncio.create_task(self._run(), name="input gate")

    def end(self) -> None:
        """The app is closing."""
        if self._task is not None:
            self._task.cancel()

    @property
    def idle(self) -> bool:
        """Whether no key waits or is being handled."""
        return not self._waiting and self._free.is_set()

    @property
    def waits(self) -> bool:
        """Whether the first key waits for an answer."""
        return self._held_since is not None

    @property
    def held(self) -> int:
        """How many keys have waited long enough to be noticed."""
        long = self._held_since is not None and monotonic() - self._held_since > PATIENCE
        return len(self._waiting) if long else 0

    def admits(self, event: events.Event) -> bool:
        """Whether the app may handle ``event`` now. If not, it is posted to the app again when its turn has come."""
        if not self._app.screen_stack:
            return False    # the app is closing
        if isinstance(event, events.MouseMove):
            return True
        if any(event is admitted for admitted in self._admitted):
            self._admitted = [admitted for admitted in self._admitted if admitted is not event]
            return True
        if isinstance(event, events.Key) and event.key.startswith("alt+") and event.is_printable:
            # Esc and a letter at once look like that to some terminals; see also textual_internals.LoneEscapes
            self._waiting.append(events.Key("escape", "\x1b"))
            event = events.Key(event.character if event.character and event.character.isalnum()
                               else event.key.removeprefix("alt+"), event.character)
        if self.held and isinstance(event, events.Key) and event.key == "ctrl+q":
            self._waiting.clear()   # the person does not want to wait
            self._holds.clear()
        self._waiting.append(event)
        self._came.set()
        return False

    def hold(self, holder: MessagePump, worker: Worker[None], patience: float | None = None) -> Hold:
        """Make keys that depend on ``worker`` wait for it."""
        hold = Hold(holder, worker, patience, monotonic())
        self._holds.append(hold)
        return hold

    def ended(self) -> None:
        """A worker has ended: check again which keys wait."""
        self._ended.set()

    async def between_keys(self) -> None:
        """Wait until no key is being handled."""
        while not self._free.is_set():
            await self._free.wait()

    async def _run(self) -> None:
        failing = False
        while True:
            try:
                await self._let_in()
                failing = False
                continue
            except ScreenStackError:    # the app is closing, or has not begun
                pass
            except Exception as error:  # a fault of ours in judging what keys wait for must not lock the keyboard
                self._holds.clear()
                if not failing:
                    self._app.failed(error)
                failing = True
            await asyncio.sleep(LOOK)

    async def _let_in(self) -> None:
        """Let the next key in, and wait until it is handled."""
        while not self._waiting:
            self._came.clear()
            await self._came.wait()
        await self._until_due()
        event = self._waiting.popleft()
        self._free.clear()
        try:
            self._admitted.append(event)
            self._app.post_message(event)
            await self._handled()
        finally:
            self._free.set()
        await asyncio.sleep(0)  # answers that wait are shown first

    async def _until_due(self) -> None:
        """Wait until the first key that waits finds what it acts on. Another may have become the first meanwhile."""
        while True:
            await self._handled()
            self._holds = [hold for hold in self._holds if hold.stands]
            first = self._waiting[0]
            if not any(self._concerns(hold, first) for hold in self._holds):
                self._held_since = None
                return
            self._held_since = self._held_since or monotonic()
            self._ended.clear()
            try:
                await asyncio.wait_for(self._ended.wait(), LOOK)
            except TimeoutError:
                continue

    def _concerns(self, hold: Hold, event: events.Event) -> bool:
        """Whether ``event`` must wait for ``hold``."""
        app = self._app
        if hold.holder is app:
            return True
        focused, screen = app.focused, app.screen
        if not isinstance(hold.holder, Widget) or hold.holder.screen is not screen:
            return False
        if isinstance(event, events.Paste):
            return False
        if isinstance(event, events.Key):
            if isinstance(focused, Input) and edits(event):
                return False
            if event.key in IN_LISTS and isinstance(focused, RowTable):
                lists = list(screen.query(RowTable))
                return hold.holder in (screen, *lists[:lists.index(focused) + 1])
            return event.key not in ANYWHERE or isinstance(screen, ModalScreen)
        return True

    async def _handled(self) -> None:
        """Wait until the present screen has handled everything in progress."""
        app, end = self._app, monotonic() + LONGEST
        while monotonic() < end:
            if not app.screen_stack:
                return
            screen = app.screen
            first = app.focused or screen
            await self._through_queues(first)
            if app.screen is screen and (app.focused or screen) is first and is_laid_out(screen) \
                    and not any(has_messages(node) for node in (app, *screen.walk_children(with_self=True))):
                return
            await asyncio.sleep(0)

    async def _through_queues(self, first: MessagePump) -> None:
        """Wait until ``first`` and those above it, up to the app, have handled what is in their queues by now: the way
        that a key goes and the messages it causes."""
        through = asyncio.Event()

        def step(node: MessagePump | None) -> None:
            while node is not None and not node.call_later(step, node._parent):
                node = node._parent
            if node is None:
                through.set()

        step(first)
        try:
            await asyncio.wait_for(through.wait(), HOP)
        except TimeoutError:
            return


def edits(event: events.Key) -> bool:
    """Whether a key edits the text of a field or moves within it, and so needs nothing else."""
    return event.is_printable or event.key in IN_FIELDS
