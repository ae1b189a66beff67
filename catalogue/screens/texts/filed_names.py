"""How files would be filed by their names: artists, their pieces, and what each folder is taken for."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from catalogue.filing.levels import Choice, meaning_of
from catalogue.operations.place_rules import Named
from catalogue.operations.wording import counted
from catalogue.records.folding import fold_name
from catalogue.records.guesses import Guess
from catalogue.records.paths import display_path

MOST_FOLDERS = 2000
DEEPEST = 5         # levels of folders that are listed


@dataclass(frozen=True, slots=True)
class FolderRow:
    """One folder, how many files lie below it, and what it is taken for: chosen, or as guessed of most of them."""

    folder: tuple[str, ...]
    files: int
    chosen: str
    guessed: str


@dataclass(frozen=True, slots=True)
class FiledRow:
    """An artist, or one of their pieces below; files that name none have neither. ``paths`` as people read them."""

    artist: str
    title: str
    year: str
    series: str
    pieces: int
    roles: tuple[tuple[str, int], ...]
    paths: tuple[str, ...]
    reason: str = ""

    @property
    def is_piece(self) -> bool:
        return self.pieces == 0


def under_names(named: Named, names: Mapping[str, str], titles: Iterable[tuple[str, str, str]] = ()) -> Named:
    """The files with artists under the names a person has said they mean, and pieces under their titles:
    ``(artist, title before, title)``."""
    meant = {fold_name(name): other for name, other in names.items()}

    def name_of(artist: str) -> str:
        for _ in meant:     # one name may lead to another
            artist = meant.get(fold_name(artist), artist)
        return artist

    retitled = [(fold_name(name_of(artist)), fold_name(before), title) for artist, before, title in titles]

    def title_of(artist: str, title: str) -> str:
        for of_artist, before, new in retitled:   # in the order in which they were said
            if (of_artist, before) == (fold_name(artist), fold_name(title)):
                title = new
        return title

    seen = []
    for path, guess in named:
        artist = name_of(guess.artist)
        title = title_of(artist, guess.title) if retitled else guess.title
        same = (artist, title) == (guess.artist, guess.title)
        seen.append((path, guess if same else replace(guess, artist=artist, title=title)))
    return seen


def folder_rows(named: Named, choices: Iterable[Choice]) -> list[FolderRow]:
    """Folders in the order of a tree."""
    chosen = tuple(choices)
    taken: dict[tuple[str, ...], Counter[str]] = defaultdict(Counter)
    for path, guess in named:
        parts = tuple(display_path(path).split("/")[:-1])
        for depth in range(min(len(parts), DEEPEST)):
            taken[parts[:depth + 1]][_taken_for(fold_name(parts[depth]), guess)] += 1
    rows = []
    for folder in sorted(taken)[:MOST_FOLDERS]:
        likely, count = taken[folder].most_common(1)[0]
        rows.append(FolderRow(folder, taken[folder].total(), meaning_of(chosen, folder),
                              likely if 2 * count > taken[folder].total() else ""))
    return rows


def _taken_for(folder: str, guess: Guess) -> str:
    """What a guess has read in a folder's name, both folded."""
    family = fold_name(guess.artist).rpartition(" ")[2]
    if family and family in folder:
        return "artist"
    title = fold_name(guess.title)
    return "piece" if title and title == folder else "year" if guess.year and guess.year in folder else ""


def filed_rows(named: Named) -> list[FiledRow]:
    """Artists by name with their pieces below them; first of all what names no piece."""
    filed: dict[tuple[str, str], list[tuple[str, Guess]]] = defaultdict(list)
    for path, guess in named:
        whole = bool(guess.artist and guess.title)
        filed[(fold_name(guess.artist), fold_name(guess.title)) if whole else ("", "")].append((path, guess))
    artists: dict[str, list[FiledRow]] = defaultdict(list)
    for (artist, _), files in sorted(filed.items()):
        artists[artist].append(_row(files, named_at_all=bool(artist)))
    rows: list[FiledRow] = []
    for artist, pieces in artists.items():
        if artist:
            roles = Counter[str]()
            for piece in pieces:
                roles.update(dict(piece.roles))
            rows.append(FiledRow(pieces[0].artist, "", "", "", len(pieces), tuple(roles.most_common()), ()))
        rows += pieces
    return rows


def _row(files: Sequence[tuple[str, Guess]], *, named_at_all: bool) -> FiledRow:
    first = files[0][1]
    roles = Counter(guess.role for _, guess in files)

    def value(name: str) -> str:
        return next((str(getattr(guess, name)) for _, guess in files if getattr(guess, name)), "")

    return FiledRow(first.artist if named_at_all else "", first.title if named_at_all else "",
                    value("year"), value("series"), 0, tuple(roles.most_common()),
                    tuple(display_path(path) for path, _ in files), first.reason)


def roles_words(roles: Iterable[tuple[str, int]]) -> str:
    """``2 masters, 4 tiles``."""
    return ", ".join(f"{count} unsorted" if role == "unsorted" else counted(count, role) for role, count in roles)
