"""Sharp pictures (kitty's protocol, sixel) where the settings ask for them and the terminal proves it can.

The terminal is asked once, before the screens start, and only with ``graphics = "sharp"``; an answer that does not come
within a tenth of a second is a no. Inside tmux and without a terminal it is not asked at all: half blocks it is.
"""

import os
import sys
from typing import Protocol

from textual.widget import Widget

from catalogue.settings import Settings


class SharpPicture(Protocol):
    """A widget class that shows a Pillow picture through the terminal's own graphics."""

    def __call__(self, image: object = None) -> Widget: ...


def sharp_pictures(settings: Settings) -> SharpPicture | None:
    """The widget for sharp pictures, or None for half blocks. May write to the terminal: call before the screens."""
    if settings.graphics != "sharp" or not may_ask(dict(os.environ), terminal=_is_terminal()):
        return None
    try:
        from textual_image import renderable, widget
    except (ImportError, OSError):  # not installed, or the terminal cannot be asked
        return None
    chosen = {renderable.SixelImage: widget.SixelImage, renderable.TGPImage: widget.TGPImage}.get(renderable.Image)
    return chosen if chosen is not None else None


def may_ask(environment: dict[str, str], *, terminal: bool) -> bool:
    """Whether a question to the terminal would reach it and come back."""
    return terminal and not environment.get("TMUX") and not environment.get("STY") \
        and environment.get("TERM", "dumb") not in ("dumb", "linux")


def _is_terminal() -> bool:
    return all(stream is not None and stream.isatty() for stream in (sys.__stdin__, sys.__stdout__))
