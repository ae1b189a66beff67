"""What a file is for: master, tile, print file or reference; by its name, its folders, its neighbours, its picture."""

from collections.abc import Sequence
from dataclasses import dataclass

from catalogue.filing.names import Name
from catalogue.filing.tokens import Kind, Token

LOSSY = frozenset({"JPEG", "WebP", "PNG", "GIF", "HEIF"})
SMALL = 3000  # pixels of the long side below which a lossy picture is one for looking at


@dataclass(frozen=True, slots=True)
class Role:
    role: str
    certainty: float
    reason: str


def folder_role(folders: Sequence[Name]) -> str:
    """The purpose that the nearest folder of files with one purpose states, or ``""``; "raw" is told apart."""
    for folder in reversed(folders):
        said = [t.role for t in folder.tokens if t.kind is Kind.ROLE]
        others = [t for t in folder.tokens if t.kind is Kind.WORD and not _joining(t)]
        if said and not others:
            for role in ("print file", "reference", "tile", "raw"):
                if role in said:
                    return role
            return "master"
    return ""


def _joining(token: Token) -> bool:
    return token.text.casefold() in _JOINING


_JOINING = frozenset(
    """
    for to für zum pour à para för files file dateien fichiers archivos filer ready the of and und et y og och
    high res resolution media social auflösung resolución upplösning
""".split()
)


def own_role(stripped: Sequence[Token]) -> tuple[str, str]:
    """The purpose that words beside a title state, and the word; "master" outweighs a counter ("1 of 6 [master]")."""
    said = [t for t in stripped if t.kind is Kind.ROLE]
    for role in ("tile", "print file", "reference", "master"):
        for token in said:
            if token.role == role:
                return role, token.text
    counter = next((t for t in stripped if t.kind is Kind.COUNTER and not t.text.lstrip().startswith("(")), None)
    if counter:
        return "tile", counter.text
    return next((("raw", t.text) for t in said if t.role == "raw"), ("", ""))


def judge(
    stripped: Sequence[Token],
    folders: Sequence[Name],
    *,
    picture: bool,
    lossy: bool,
    small: bool,
    tile_set: bool,
    has_master: bool,
    learned: tuple[str, str] = ("", ""),
) -> Role:
    """The role. ``learned``: what the archive's own words say, and which; ``tile_set``: it is one of a numbered set of
    equal captures; ``has_master``: another file of its piece is a master by its name."""
    if not picture:
        return Role("unsorted", 0.5, "no picture could be read")
    own, word = own_role(stripped)
    around = folder_role(folders)
    if own and own != "raw":
        return Role(own, 0.95, f"its name says {word!r}")
    if around in ("print file", "reference", "tile"):
        return Role(around, 0.9, "its folder holds such files")
    if learned[0] and own != "raw":
        return Role(learned[0], 0.8, f"files with {learned[1]!r} are so in this archive")
    if around == "raw" or own == "raw":
        if tile_set:
            return Role("tile", 0.85, "one of several raw captures")
        if has_master:
            return Role("tile", 0.6, "a raw capture beside a finished master")
    if tile_set:
        return Role("tile", 0.75, "one of a numbered set beside the whole picture")
    if lossy:
        return Role("reference", 0.8 if small else 0.6, "a compressed picture, not a scan")
    sized = any(t.kind is Kind.SIZE for t in stripped)
    printed = any(t.kind is Kind.MATERIAL for t in stripped) or any(
        t.kind is Kind.RESOLUTION and t.text[:3].isdecimal() and int(t.text[:3]) <= 360 for t in stripped
    )
    if (sized and printed) or ((sized or printed) and has_master):
        return Role("print file", 0.75, "its name gives a print's size or material")
    return Role("master", 0.8 if around == "master" else 0.7, "nothing says otherwise")
