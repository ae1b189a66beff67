"""The bars around every screen: the pages on top, the long work and the keys below. None ever overflows."""

from typing import TYPE_CHECKING, cast

from rich.cells import cell_len
from textual import events
from textual.content import Content
from textual.reactive import reactive
from textual.style import Style
from textual.widget import Widget
from textual.widgets import Input

from catalogue.screens.keys import EVERYWHERE, KEYS, PAGE_TITLES, Key
from catalogue.screens.texts.formats import counted, duration, number, safe

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp
    from catalogue.screens.background.work import Work


MOST = 999      # findings that are counted on the bar


class PageBar(Widget):
    """The pages with their digits, the present one in brackets and bold, and how much is damaged. A click goes there.
    """

    DEFAULT_CSS = """PageBar { height: 1; dock: top; background: $panel; color: $quiet; link-style: none;
                     link-background: $panel; link-color: $quiet; link-style-hover: underline;
                     link-background-hover: $panel; link-color-hover: $foreground; }"""

    def __init__(self, page: str = "") -> None:
        """``page``: its mode; "" for one that is opened over any page."""
        super().__init__()
        self._page = page

    def render(self) -> Content:
        wide = self.size.width >= 100
        page = self._page or self.app.current_mode
        damaged = cast("CatalogueApp", self.app).changes.damaged
        parts: list[Content | str | tuple[str, Style | str]] = [" "]
        for digit, (mode, title) in enumerate(PAGE_TITLES, 1):
            click = Style.from_meta({"@click": f"app.show_page('{mode}')"})
            is_current = mode == page
            text = f"[{digit} {title}]" if is_current else f" {digit} {title} "
            parts.append((text, "bold $foreground" if is_current else click))
            if mode == "audit" and damaged:
                parts.append((f"✗{min(damaged, MOST)} ", "bold $error"))
            if wide:
                parts.append("  ")
        return Content.assemble(*parts)


class KeyLine(Widget):
    """The keys that matter here, as many as fit, help always among them. A click presses the key."""

    DEFAULT_CSS = """KeyLine { height: 1; background: $panel; color: $quiet; link-style: none;
                     link-background: $panel; link-color: $quiet; link-style-hover: underline;
                     link-background-hover: $panel; link-color-hover: $foreground; }"""

    def __init__(self, context: str, *, exclusive: bool = False) -> None:
        super().__init__()
        self._keys = (*KEYS.get(context, ()), *(() if exclusive else EVERYWHERE))
        self._left_out: frozenset[str] = frozenset()

    def on_mount(self) -> None:
        self.watch(self.screen, "focused", self._focus_moved, init=False)

    def _focus_moved(self) -> None:
        self.refresh()

    def leave_out(self, actions: frozenset[str]) -> None:
        """Do not show keys of these actions, which have nothing to act on at present."""
        self._left_out = actions
        self.refresh()

    def fitting(self, width: int, *, typing: bool = False) -> list[Key]:
        """Keys in order of rank that fit into ``width`` cells; help has its room reserved.

        ``typing``: in a field of text, where letters are letters and Enter is the field's: those keys are left out.
        """
        named = (key for key in self._keys if key.rank and key.action not in self._left_out)
        ranked = sorted((key for key in named if not (typing and is_typed(key.keys.split(",")[0]))),
                        key=lambda key: key.rank)
        always = [key for key in ranked if key.action == "app.help"]
        room = width - sum(_room(key) for key in always) - 1
        chosen = []
        for key in ranked:
            if key in always:
                continue
            if _room(key) > room:
                break
            room -= _room(key)
            chosen.append(key)
        return chosen + always

    def render(self) -> Content:
        parts: list[Content | str | tuple[str, Style | str]] = [" "]
        typing = isinstance(self.screen.focused, Input) and not self.screen.is_modal
        focused = self.screen.focused
        for key in self.fitting(self.size.width, typing=typing):
            if key.keys == "enter" and hasattr(focused, "press") and \
                    getattr(focused, "action", None) != f"screen.{key.action}":
                continue    # Enter presses the button that has the focus
            action = key.action if key.action.startswith("app.") else f"screen.{key.action}"
            click = Style.from_meta({"@click": action})
            parts += [(key.shown, "bold $accent"), (f" {key.label}", click), "   "]
        return Content.assemble(*parts[:-1] if len(parts) > 1 else parts)


def is_typed(name: str) -> bool:
    """Whether a field of text takes this key for itself."""
    return len(name) == 1 or name in ("enter", "space", "slash", "question_mark", "colon", "comma", "full_stop", "plus",
                                      "minus", "backspace", "delete", "home", "end", "left", "right")


def _room(key: Key) -> int:
    return cell_len(key.shown) + cell_len(key.label) + 4


class WorkLine(Widget):
    """The long work under way, or how the last one ended. Nothing, and no height, when there is nothing to say."""

    DEFAULT_CSS = """WorkLine { height: 1; dock: bottom; background: $surface; color: $foreground; display: none; }
                     WorkLine.-busy { display: block; }"""

    shown_text: reactive[str] = reactive("")

    def on_mount(self) -> None:
        self.set_interval(0.2, self.look)
        self.look()

    def look(self) -> None:
        """Ask the app for the state of the work; called five times a second, so reports cost nothing."""
        app = cast("CatalogueApp", self.app)
        if app.writes.slow:
            self.shown_text = (" Waiting to record: another program is writing to the catalogue: "
                               + safe(app.writes.open[0]))
        elif app.gate.held:
            self.shown_text = f" Still loading; {counted(app.gate.held, 'key')} waiting. Ctrl-Q quits."
        else:
            self.shown_text = "" if app.work is None else progress_line(app.work, self.size.width)
        self.set_class(bool(self.shown_text) or app.work is not None, "-busy")

    def render(self) -> Content:
        return Content(self.shown_text)

    def on_click(self, _: events.Click) -> None:
        cast("CatalogueApp", self.app).action_stop_work()


def progress_line(work: "Work", width: int) -> str:
    """One line: what, a bar, how many, how much, how fast, how long still; the least needed go first."""
    now = work.progress
    name = now.stage or work.name
    if work.ending:
        return f" {safe(name)}: stopping after this file …"
    parts = []
    spent = max(work.seconds(), 1e-3)
    share = _share(now.done, now.total, now.bytes_done, now.bytes_total)
    parts.append(number(now.done) + (f" of {number(now.total)}" if now.total is not None else ""))
    if now.estimate:
        parts.append(now.estimate)
    else:
        if now.bytes_done:
            from catalogue.progress import data_size

            parts.append(f"{data_size(now.bytes_done / spent)}/s")
        if share and spent > 2:
            parts.append(f"{duration(spent * (1 - share) / share)} left")
    line = f" {safe(name)}  "
    if share is not None:
        length = max(6, min(30, width // 5))
        line += "█" * round(share * length) + "░" * (length - round(share * length)) + f" {share:4.0%}  "
    line += "  ".join(parts)
    stop = "   x to stop"
    if now.note and len(line) + len(now.note) + len(stop) + 2 < width:
        line += "  " + safe(now.note)
    return line[:max(0, width - len(stop))] + stop


def _share(done: int, total: int | None, bytes_done: int, bytes_total: int | None) -> float | None:
    if bytes_total:
        return min(1.0, bytes_done / bytes_total)
    if total:
        return min(1.0, done / total)
    return None
