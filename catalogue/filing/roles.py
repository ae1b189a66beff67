"""A file's role: master, tile, print file or reference; from its name, folders, neighbours and picture."""

from collections.abc import Sequence
from functools import lru_cache

from catalogue.filing.model import Guessed
from catalogue.filing.names import Name, read_name
from catalogue.filing.titles import Title
from catalogue.filing.tokens import Kind

_JOINING = frozenset("""
    for to für zum pour à para för files file dateien fichiers archivos filer ready the of and und et y og och
    high res resolution media social auflösung resolución upplösning
""".split())


def folder_role(folders: Sequence[Name]) -> str:
    """The purpose that the nearest folder of files with one purpose states, or ``""``; "raw" is told apart."""
    return next((role for folder in reversed(folders) if (role := _purpose_of(folder.text))), "")


@lru_cache(maxsize=50_000)
def _purpose_of(folder: str) -> str:
    tokens = read_name(folder).tokens
    roles = {t.role for t in tokens if t.kind == Kind.ROLE}
    if not roles or any(t.kind == Kind.WORD and t.text.casefold() not in _JOINING for t in tokens):
        return ""
    return next((role for role in ("print file", "reference", "tile", "raw") if role in roles), "master")


def judge(
    title: Title,
    folders: Sequence[Name],
    *,
    picture: bool,
    lossy: bool,
    small: bool,
    tile_set: bool,
    has_master: bool,
    learned: tuple[str, str],
) -> Guessed:
    """The role. ``learned``: what the archive's own words say, and which; ``tile_set``: it is one of a numbered set of
    equal captures; ``has_master``: another file of its piece is a master by its name."""
    if not picture:
        return Guessed("unsorted", 0.5, "no picture could be read")
    own, word = title.role
    around = folder_role(folders)
    if own == "tile" and word[0].isdecimal() and folder_role(folders[-1:]) == "print file":
        return Guessed("print file", 0.9, "its folder holds such files")  # "prints/Harbour 2 of 25" is of an edition
    if own and own != "raw":
        return Guessed(own, 0.95, f"its name says {word!r}")
    if around in ("print file", "reference", "tile"):
        return Guessed(around, 0.9, "its folder holds such files")
    if learned[0] and own != "raw":
        return Guessed(learned[0], 0.8, f"files with {learned[1]!r} are so in this archive")
    if around == "raw" or own == "raw":
        if tile_set:
            return Guessed("tile", 0.85, "one of several raw captures")
        if has_master:
            return Guessed("tile", 0.6, "a raw capture beside a finished master")
    if tile_set:
        return Guessed("tile", 0.75, "one of a numbered set beside the whole picture")
    if lossy:
        return Guessed("reference", 0.8 if small else 0.6, "a compressed picture, not a scan")
    sized = any(t.kind == Kind.SIZE for t in title.stripped)
    printed = any(t.kind == Kind.MATERIAL for t in title.stripped) or any(
        t.kind == Kind.RESOLUTION and t.text[:3].isdecimal() and int(t.text[:3]) <= 360 for t in title.stripped
    )
    if (sized and printed) or ((sized or printed) and has_master):
        return Guessed("print file", 0.75, "its name gives a print's size or material")
    return Guessed("master", 0.8 if around == "master" else 0.7, "nothing says otherwise")
