"""How well the terminal can draw pictures: sharp (kitty's protocol, sixel), or with which block signs.

With ``graphics = "auto"`` the environment is read: a terminal that names itself there as one that draws sharp pictures
is asked once, before the screens start, and so is any with ``graphics = "sharp"``; an answer that does not come within
a tenth of a second is a no. Inside tmux and without a terminal it is not asked at all: block signs it is.
"""

import os
import re
import sys
from collections.abc import Mapping
from select import select
from time import monotonic
from typing import Protocol, cast

from textual.widget import Widget

from catalogue.settings import Settings

PATIENCE = 0.1  # seconds for an answer
DRAWS_SEXTANTS = 6200   # VTE's version from which it draws them itself; from memory


class SharpPicture(Protocol):
    """A widget class that shows a Pillow picture through the terminal's own graphics."""

    def __call__(self, image: object = None) -> Widget: ...


def sharp_pictures(settings: Settings) -> SharpPicture | None:
    """The widget for sharp pictures, or None for block signs. May write to the terminal: call before the screens."""
    wanted = settings.graphics == "sharp" or (settings.graphics == "auto" and says_sharp(os.environ))
    if not wanted or not may_ask(dict(os.environ), terminal=_is_terminal()):
        return None
    try:
        from textual_image import renderable, widget
    except (ImportError, OSError):  # not installed, or the terminal cannot be asked
        return None
    if renderable.Image is renderable.SixelImage:
        from catalogue.screens.pictures.sixel import SixelPicture

        return SixelPicture
    if renderable.Image is renderable.TGPImage and knows_placeholders(_terminal_name()):
        return cast(SharpPicture, widget.TGPImage)
    return None


def _family(environment: Mapping[str, str]) -> str:
    """The terminal by what it says of itself in the environment; "" if it says nothing that is known here.

    Names as these programs' own documentation has them; that of VTE's version is from memory.
    """
    term, program = environment.get("TERM", ""), environment.get("TERM_PROGRAM", "").lower()
    for name, is_it in (("kitty", term == "xterm-kitty" or "KITTY_WINDOW_ID" in environment),
                       ("ghostty", term == "xterm-ghostty" or program == "ghostty"),
                       ("wezterm", term == "wezterm" or program == "wezterm"),
                       ("foot", term == "foot" or term.startswith("foot-")),
                       ("mlterm", term.startswith("mlterm")),
                       ("vte", environment.get("VTE_VERSION", "").isdigit())):
        if is_it:
            return name
    return ""


def says_sharp(environment: Mapping[str, str]) -> bool:
    """Whether the environment names a terminal that draws sharp pictures; asking it decides how."""
    return _family(environment) in ("kitty", "ghostty", "wezterm", "foot", "mlterm") \
        or "sixel" in environment.get("TERM", "")


def block_signs(settings: Settings, environment: Mapping[str, str]) -> str:
    """A name in ``pictures.blocks.BLOCKS``: as set, else sextants where the terminal is known to draw them itself.

    Elsewhere a font may lack them; quadrants and eighths are in every one with block elements
    (Unicode 1.1 and 3.2).
    """
    if settings.graphics not in ("auto", "sharp"):
        return settings.graphics
    family = _family(environment)
    if family == "vte":
        return "sextants" if int(environment["VTE_VERSION"]) >= DRAWS_SEXTANTS else "quadrants"
    return "sextants" if family in ("kitty", "ghostty", "wezterm", "foot") else "quadrants"


def knows_placeholders(name: str) -> bool:
    """Whether a terminal can lay a picture over text, by what it calls itself.

    The answer to the graphics question does not tell: older kitty, which answers it, shows the placeholders as
    letters. They came with kitty 0.28 (kitty's documentation of its graphics protocol); Ghostty has them too.
    """
    if name.lower().startswith("ghostty"):
        return True
    version = re.match(r"kitty\((\d+)\.(\d+)", name)
    return version is not None and (int(version[1]), int(version[2])) >= (0, 28)


def _terminal_name() -> str:
    """What the terminal calls itself (xterm's XTVERSION), "" if it does not say."""
    import termios
    import tty

    assert sys.__stdin__ is not None and sys.__stdout__ is not None
    keyboard = sys.__stdin__.fileno()
    before = termios.tcgetattr(keyboard)
    answer = b""
    try:
        tty.setcbreak(keyboard, termios.TCSANOW)
        sys.__stdout__.write("\x1b[>q\x1b[c")   # every terminal answers the second question: then no more will come
        sys.__stdout__.flush()
        end = monotonic() + PATIENCE
        while not re.search(rb"\x1b\[\?[\d;]*c", answer) and select([keyboard], [], [], max(0, end - monotonic()))[0]:
            answer += os.read(keyboard, 1024)
    finally:
        termios.tcsetattr(keyboard, termios.TCSANOW, before)
    name = re.search(rb"\x1bP>\|([^\x1b]*)\x1b\\", answer)
    return name[1].decode(errors="replace") if name else ""


def may_ask(environment: dict[str, str], *, terminal: bool) -> bool:
    """Whether a question to the terminal would reach it and come back."""
    return terminal and not environment.get("TMUX") and not environment.get("STY") \
        and environment.get("TERM", "dumb") not in ("dumb", "linux")


def _is_terminal() -> bool:
    return all(stream is not None and stream.isatty() for stream in (sys.__stdin__, sys.__stdout__))
