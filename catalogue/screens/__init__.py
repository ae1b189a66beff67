"""The screens: browse, piece, search, orders, stores and the rest. No SQL, no reading of masters."""

import os


def set_textual_defaults() -> None:
    """Before Textual is imported: how long Esc may be the start of a sequence, in ms, and drawings a second.

    Values already set in the environment are kept.
    """
    os.environ.setdefault("ESCDELAY", "25")
    os.environ.setdefault("TEXTUAL_FPS", "120")
