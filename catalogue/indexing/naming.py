"""Artist, piece, year and role from a file's path, name and tags."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from catalogue.reading.model import Metadata, Picture
from catalogue.records.guesses import Guess
from catalogue.records.paths import display_path
from catalogue.records.provenance import GUESSED, READ, TAGS, Origin, reasons_text


@dataclass(frozen=True, slots=True)
class PathNames:
    """What a rule reads in a path; empty if it reads nothing. ``rest``: the path without the folders it has read, so
    that they are not taken for anything else."""

    artist: str = ""
    piece: str = ""
    year: str = ""
    number: str = ""
    series: str = ""
    rule: str = field(default="", compare=False)
    rest: str = field(default="", compare=False)

    @property
    def whole(self) -> bool:
        """Whether nothing is left to guess: the rule names both artist and piece."""
        return bool(self.piece) and "{artist" in self.rule


_FIELDS = {"year": "[0-9]{4}", "number": r"[^\s/]*\d[^\s/]*", "artist": "[^/]+?", "piece": "[^/]+?",
           "series": "[^/]+?", "job": "[^/]+?", "ignore": "[^/]+?"}
IDLE = ("job", "ignore")    # fields that say nothing of the piece and may occur several times
_TOKEN = re.compile(r"\{(" + "|".join(_FIELDS) + r")(?:=([^{}/]*))?\}|(\*\*/|\*)")


@lru_cache(maxsize=256)
def _compiled(rule: str) -> re.Pattern[str]:
    pattern, named, end, idle = "", set[str](), 0, 0
    for token in _TOKEN.finditer(rule):
        pattern += re.escape(rule[end:token.start()])
        end = token.end()
        name, literal, wild = token.groups()
        if wild is None:
            wanted = _FIELDS[name] if literal is None else re.escape(literal)
            if name in IDLE:
                idle += 1
                pattern += f"(?P<idle{idle}>{wanted})"
            elif name in named:
                pattern += f"(?P={name})"  # a name given twice is the same both times
            else:
                named.add(name)
                pattern += f"(?P<{name}>{wanted})"
        elif wild == "**/":
            pattern += "(?:[^/]+/)*"
        else:
            pattern += "[^/]*"
    return re.compile(pattern + re.escape(rule[end:]))


# The place rules that were the default until names came to be guessed from the whole tree.
FORMER_RULES = (
    "{year}/inv {number} {artist} - {piece}.*",
    "{year}/{artist} - {piece}/**/*",
    "{year}/{artist} - {piece} - *",
    "{year}/{artist} - {piece}.*",
    "{year}/{artist}/{piece}/**/*",
    "{artist}/{piece}/**/*",
    "{artist}/{piece}.*",
)
NO_TAGS = Metadata()


def stated_names(metadata: Metadata) -> tuple[str, str]:
    """Title and creator that the tags state and that can be believed; TIFF's DocumentName, which scanner programs
    fill with a file name, is not."""
    title, source = _stated_title(metadata)
    return "" if source == "TIFF" else display_path(title), display_path(metadata.creator.strip())


def document_name(metadata: Metadata) -> str:
    """TIFF's DocumentName, where it is the only title stated; for want of a better one."""
    title, source = _stated_title(metadata)
    return display_path(title) if source == "TIFF" else ""


def format_of(path: str) -> str:
    """The format that a file's suffix promises, as far as a role hangs on it."""
    suffix = path.rpartition(".")[2].lower()
    return {"jpg": "JPEG", "jpeg": "JPEG", "png": "PNG", "webp": "WebP"}.get(suffix, "TIFF")


def guess(path: str, file_format: str, picture: Picture | None, metadata: Metadata, rules: Sequence[str]) -> Guess:
    """Artist, title, year, inventory number and role of a scan by one of its paths (in stored form) and its tags,
    alone.

    Tags outrank the path, except for TIFF's DocumentName, which scanner programs fill with a file name: that is taken
    only where the path names no piece. A name that scanners and cameras give by themselves is never a title.
    """
    return guess_read(names_in_path(path, rules), path, file_format, pixels_of(picture), metadata)


def pixels_of(picture: Picture | None) -> int | None:
    """How many pixels there are; None if no picture was found."""
    return None if picture is None else picture.width * picture.height


def guess_read(path_names: PathNames, path: str, file_format: str, pixels: int | None, metadata: Metadata) -> Guess:
    """As :func:`guess`, where ``path_names`` is what the rules read of the path."""
    title, source = _stated_title(metadata)
    if source == "TIFF" and path_names.piece:
        title = ""
    creator = metadata.creator.strip()
    by_path = Origin(GUESSED, f"the place rule {path_names.rule}" if path_names.rule else "its path")
    by_tags = Origin(READ, TAGS)
    return Guess(display_path(creator or path_names.artist),
                 display_path(title or ("" if is_default_name(path_names.piece) else path_names.piece)),
                 path_names.year, metadata.inventory_number or path_names.number, _role_of(path, file_format, pixels),
                 reasons_text({"artist": by_tags if creator else by_path, "title": by_tags if title else by_path,
                               "year": by_path, "series": by_path,
                               "number": by_tags if metadata.inventory_number else by_path,
                               "role": Origin(GUESSED, "its name, folder and format")}), path_names.series)


def _stated_title(metadata: Metadata) -> tuple[str, str]:
    """The title that the tags state, and which of them; empty if it is a scanner's own."""
    title = metadata.title.strip()
    source = next((s.source for s in reversed(metadata.stated) if s.field == "title" and s.value == title), "")
    if source == "TIFF":
        title = _IMAGE_SUFFIX.sub("", title)
    return ("", "") if is_default_name(title) else (title, source)


def is_default_name(name: str) -> bool:
    """Whether scanners or cameras assign this name by default, such as ``scan0001.tif`` or ``IMG_1234``."""
    return _DEFAULT_NAME.fullmatch(_IMAGE_SUFFIX.sub("", name.strip())) is not None


# Names that scanner programs and cameras give. Common practice, no source.
_DEFAULT_NAME = re.compile(
    r"scan(?:ned)?(?:[\s_-]*(?:image|document|page))?[\s_()-]*[\d\s_()-]*|(?:img|dscf?n?|_dsc|p|pict?)[\s_-]?\d{3,}"
    r"|(?:image|img|picture|document)[\s_-]*(?:\(\d+\)|\d{3,})", re.IGNORECASE)
_IMAGE_SUFFIX = re.compile(r"\.(?:tiff?|jpe?g|png|psd|psb|webp|bmp|dng)$", re.IGNORECASE)


def names_in_path(path: str, rules: Sequence[str]) -> PathNames:
    """What the first rule that matches the whole path reads in it; the path in stored form."""
    path = display_path(path)
    for rule in rules:
        match = _compiled(rule).fullmatch(path)
        if match:
            parts = match.groupdict()
            piece = parts.get("piece") or ""
            if piece and match.end("piece") > path.rfind("/"):  # of the file's own name: what follows is no title
                piece = _SUFFIX.sub("", piece) or piece
            elif piece:
                piece = _one_of_series(piece, path[path.rfind("/") + 1:]) or piece
            return PathNames(_tidied(parts.get("artist") or ""), _tidied(piece), parts.get("year") or "",
                         parts.get("number") or "", _tidied(parts.get("series") or ""), rule, _rest(path, match))
    return PathNames()


def _rest(path: str, match: re.Match[str]) -> str:
    """A path without the folders that a rule has read completely, except for the piece's."""
    read = {match.span(name) for name in match.re.groupindex if name != "piece"}
    rest, start = [], 0
    for part in path.split("/"):
        end = start + len(part)
        if (start, end) not in read or end == len(path):
            rest.append(part)
        start = end + 1
    return "/".join(rest)


def _one_of_series(folder: str, name: str) -> str:
    """The title of one piece of a numbered series kept in one folder, as ``Tides/Tides 2 of 6 [master].tif``."""
    if name[:len(folder)].lower() != folder.lower():
        return ""
    numbered = _NUMBERED.match(name, len(folder))
    return name[:numbered.end()] if numbered else ""


_NUMBERED = re.compile(r"[\s_-]+(?:no\.?\s*)?\d+(?:\s*of\s*\d+)?(?=[\s_-]+[\[(]?master)", re.IGNORECASE)


def _tidied(text: str) -> str:
    return " ".join(text.replace("_", " ").split())


# Words as shops write them in folder and file names. Common practice, no source. The first role that fits is taken:
# "master" in a name outweighs a "1 of 6", which may count a series as well as tiles.
_WORD = r"(?:^|[^a-z]){}(?:[^a-z]|$)"
_ROLES: tuple[tuple[str, re.Pattern[str]], ...] = tuple(
    (role, re.compile("|".join(_WORD.format(word) for word in words), re.IGNORECASE)) for role, words in (
        ("tile", ("tiles?", "captures?", r"t\d{1,3}", r"r\d+c\d+")),
        ("print file", ("prints?", "forprint", "print-?ready", "proof-?print", "output")),
        ("reference", ("refs?", "reference", "phone", "photo", "web", "preview", "snapshot", "details?", "lowres",
                       "thumb(?:nail)?")),
        ("master", ("masters?", "stitched", "re-?scan", r"rescan\d*", "archive")),
        ("tile", (r"part\s*\d+", r"\d+\s*of\s*\d+")),
    ))
# What may follow a title in a file's name.
_SUFFIX = re.compile(r"(?:[\s_-]+|\b)[\[(]?(?:masters?|stitched|re-?scan|rescan\d*|tiles?|captures?|prints?|refs?|"
                     r"reference|details?|final|t\d{1,3})\b.*$", re.IGNORECASE)
_LOSSY = {"JPEG", "WebP", "PNG"}


def role_of(path: str, file_format: str, picture: Picture | None) -> str:
    """The role a file's name, folders, pages and pixels suggest.

    The file's own name outweighs its folders, the nearest folder the farther ones; only folders below the piece are
    asked, for an artist may well be called Masters.
    """
    return _role_of(path, file_format, pixels_of(picture))


def _role_of(path: str, file_format: str, pixels: int | None) -> str:
    parts = path.split("/")
    for part in [parts[-1], *reversed(parts[2:-1])]:
        for role, words in _ROLES:
            if words.search(part):
                return role
    if pixels is None:
        return "unsorted"
    if file_format in _LOSSY:
        return "reference"
    return "master" if pixels > 0 else "unsorted"
