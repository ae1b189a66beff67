"""The input and output of guessing."""

from dataclasses import dataclass

from catalogue.filing.artists import ArtistInPath, Artists
from catalogue.filing.names import Name
from catalogue.filing.titles import Title

LOSSY = frozenset({"JPEG", "WebP", "PNG", "GIF", "HEIF"})
SMALL = 3000  # pixels of the long side below which a lossy picture is one for looking at


@dataclass(frozen=True, slots=True)
class FileFacts:
    """What is known of one file. ``path`` is relative to its store, ``/`` between parts. ``group``: files of one
    group show the same piece, as likeness found; None if that is not known. Sizes in pixels; 0 if unknown."""

    path: str
    title: str = ""
    creator: str = ""
    format: str = "TIFF"
    width: int = 0
    height: int = 0
    picture: bool = True
    group: int | None = None


@dataclass(frozen=True, slots=True)
class Guessed:
    """One value, its certainty (0 to 1) and the reason."""

    value: str = ""
    certainty: float = 0.0
    reason: str = ""


NOTHING = Guessed()
STATED_IN_FILE = "stated in the file"   # the reason of what the file's tags say


@dataclass(frozen=True, slots=True)
class Guess:
    """What is guessed of one file. ``size`` is as written, ``number`` an inventory number. ``by_likeness``: its own
    path and tags do not name artist and piece; it has those of a file that shows the same."""

    artist: Guessed = NOTHING
    piece: Guessed = NOTHING
    role: Guessed = NOTHING
    year: Guessed = NOTHING
    number: Guessed = NOTHING
    size: Guessed = NOTHING
    by_likeness: bool = False


@dataclass(slots=True)
class Work:
    """One file with its intermediate results."""

    facts: FileFacts
    parts: tuple[str, ...]
    names: tuple[Name, ...]
    artist_in_path: ArtistInPath | None
    artist: Guessed
    artists: Artists  # of the archive
    artist_key: str
    kinds: str  # of its folders, see :mod:`catalogue.filing.folders`
    first: int  # tokens of its stem that are neither purpose nor version, first and last
    last: int
    proved: bool  # words for purposes among them belong to the title
    title: Title | None = None  # of the file's own name
    folder: int | None = None  # the part that may be the piece's folder
    piece: Guessed = NOTHING
    skip: int = 0  # 1 where its folder's name begins with a running number
    folder_title: str = ""  # key of the title that its folder's name holds
    counter: str = ""  # the number that counts it among captures
    by_likeness: bool = False  # only a file that shows the same names artist and piece
    # what :func:`catalogue.filing.own_titles.beside_artist` last answered, and to what
    beside: tuple[tuple[int, int, str], tuple[int, int, range]] | None = None
