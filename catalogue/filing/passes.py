"""The passes that give each file its artist and piece, using what the other files show."""

from collections import Counter, defaultdict
from collections.abc import Sequence
from collections.abc import Set as Collection
from dataclasses import replace

from catalogue.filing import vocabulary as words
from catalogue.filing.artists import Artists
from catalogue.filing.folding import fold
from catalogue.filing.model import LOSSY, NOTHING, SMALL, STATED_IN_FILE, FileFacts, Guessed, Work
from catalogue.filing.names import phrases, read_name
from catalogue.filing.own_titles import COUNTED, beside_artist, folder_title, without_artist
from catalogue.filing.people import compatible, person_of
from catalogue.filing.places import Place
from catalogue.filing.titles import Title, says_only_purpose, title_key
from catalogue.filing.tokens import Kind


def split_path(path: str) -> tuple[str, ...]:
    *folders, name = path.split("/")
    stem, dot, suffix = name.rpartition(".")
    return (*folders, stem if dot and stem and len(suffix) <= 5 and suffix.isalnum() else name)


def begin(facts: FileFacts, parts: tuple[str, ...], place: Place, artists: Artists) -> Work:
    artist_in_path = artists.by_place[place]
    if facts.creator.strip():
        artist = Guessed(artists.canonical(facts.creator), 0.97, STATED_IN_FILE)
    elif artist_in_path:
        artist = Guessed(artist_in_path.artist, artist_in_path.certainty, artist_in_path.reason)
    else:
        artist = NOTHING
    work = Work(facts, parts, (*place.names, read_name(parts[-1])), artist_in_path, artist, artists, fold(artist.value),
                place.kinds, place.first, place.last, place.proved)
    if _says_web_of_whole_scan(work):
        work.last, work.proved = work.last + 1, True
    work.folder = _piece_folder(work)
    return work


def _says_web_of_whole_scan(work: Work) -> bool:
    """Whether a name ends in a plain word for small pictures that is of its title, for the file holds a whole scan:
    "Spider web.tif" beside "Spider.tif" is no picture for the web. (Where it shows the same, likeness says so.)"""
    facts, behind = work.facts, work.names[-1].tokens[work.last + 1 :]
    return (facts.format not in LOSSY and not 0 < max(facts.width, facts.height) < SMALL and work.last >= work.first
            and len(behind) == 1 and behind[0].role == "reference" and behind[0].spaced
            and behind[0].text.casefold() not in words.DETAIL)


def _piece_folder(work: Work) -> int | None:
    """The deepest folder that may name a piece: below the artist's, and not a shelf."""
    named_by = work.artist_in_path
    start = named_by.part + 1 if named_by and named_by.part < len(work.parts) - 1 else 0
    for part in range(len(work.parts) - 2, start - 1, -1):
        if work.kinds[part] == "c" and not work.names[part].is_device:
            return part
    if work.artist_in_path and work.artist_in_path.part < len(work.parts) - 1:  # "Smith - Harbour/scan1.tif"
        folder = work.names[work.artist_in_path.part]
        first, last = without_artist(folder, work.artist_in_path)
        if any(t.kind == Kind.WORD and fold(t.text) not in work.artist_key.split(" ")
               for t in folder.tokens[first : last + 1]):
            return work.artist_in_path.part
    return None


def settle_ambiguous_artists(works: Sequence[Work]) -> None:
    """Where a written name may mean several artists ("Leith"), files of the same folder may say which."""
    ambiguous = [w for w in works if w.artist_in_path and w.artist_in_path.either and not w.facts.creator.strip()]
    if not ambiguous:
        return
    near = _artists_below(works)
    for work in ambiguous:
        assert work.artist_in_path is not None
        own = {name for phrase in phrases(work.parts[-1]) if phrase.person.given for name in work.artist_in_path.either
            if (person := person_of(name)) and compatible(phrase.person, person)}
        beside = near[work.parts[: work.artist_in_path.part + 1]] & set(work.artist_in_path.either)
        meant = own if len(own) == 1 else beside
        if len(meant) == 1:
            work.artist = Guessed(next(iter(meant)), 0.7, "its folder's other files name this artist")
        else:
            candidates = " or ".join(work.artist_in_path.either)
            work.artist = Guessed("", 0.0, f"{work.artist_in_path.artist} may be {candidates}")
        work.artist_key = fold(work.artist.value)


def _artists_below(works: Sequence[Work]) -> dict[tuple[str, ...], set[str]]:
    """By folder the artists of the files in it and below."""
    directly: dict[tuple[str, ...], set[str]] = defaultdict(set)
    for work in works:
        if work.artist.value:
            directly[work.parts[:-1]].add(work.artist.value)
    below: dict[tuple[str, ...], set[str]] = defaultdict(set)
    for folder, artists in directly.items():
        for depth in range(1, len(folder) + 1):
            below[folder[:depth]] |= artists
    return below


def titles_that_give_way(works: Sequence[Work]) -> frozenset[str]:
    """Keys of what files of several pieces have in place of a title, where their folders say which piece it is: in this
    archive they are words for purposes, as "original" in every folder, or "take 05"."""
    filed: dict[str, set[tuple[str, str]]] = defaultdict(set)
    for work in works:
        own = work.title.key if work.title else ""
        if own and work.piece.value and own != title_key(work.piece.value):
            filed[own].add((work.artist_key, title_key(work.piece.value)))
        elif own and work.title and work.folder_title not in ("", own) and COUNTED.search(work.title.text):
            filed[own].add((work.artist_key, work.folder_title))
    return frozenset(key for key, pieces in filed.items() if len(pieces) > 1)


def find_artists_by_title(works: Sequence[Work], explained: Collection[str], purposes: Collection[str]) -> None:
    """A file that names no artist, but a title that one artist alone has, is that artist's.

    Not by a title that says what a file is for, by its words (known ones and ``explained``) or in this archive (keys in
    ``purposes``); nor where the file lies in a folder of its own that says something else: there it may be anybody's.
    """
    owners: dict[str, set[str]] = defaultdict(set)
    for work in works:
        if work.artist.value and work.piece.value:
            owners[title_key(work.piece.value)].add(work.artist.value)
    artists_in = _artists_below(works)
    for work in works:
        key = title_key(work.piece.value)
        if len(key) < 4 or key in purposes or work.artist.value or (work.artist_in_path and work.artist_in_path.either):
            continue
        owner = owners.get(key, set())
        if len(owner) != 1 or says_only_purpose(work.piece.value, explained) or _holds_other_name(work):
            continue
        name = next(iter(owner))
        if all(work.names[part].is_shelf or name in artists_in[work.parts[: part + 1]]
               or len(artists_in[work.parts[: part + 1]]) > 1 for part in range(len(work.parts) - 1)):
            work.artist = Guessed(name, 0.6, "the only artist with a piece of that title")
            work.artist_key = fold(work.artist.value)


def _holds_other_name(work: Work) -> bool:
    """Whether a field of a file's name beside its title may be a person's full name: then it is not for its title
    another's, though the words were taken for a purpose ("Harbour - Ada Quill", "Harbour - Ann Teal")."""
    return any(p.spot.isupper() and p.person.given and p.person.form >= 0.2
               and (p.last < work.first or work.last < p.first) for p in phrases(work.parts[-1]))


def choose_pieces(works: Sequence[Work]) -> None:
    """The piece of each file: what its own name says, or its folder, as the folder's other files show."""
    inside: dict[tuple[str, ...], list[Work]] = defaultdict(list)
    for work in works:
        if work.folder is not None:
            inside[work.parts[: work.folder + 1]].append(work)
    single = _single_piece_folders(inside)
    for work in works:
        own = work.title
        assert own is not None
        if work.facts.title.strip() and not read_name(work.facts.title.strip()).is_device:
            work.piece = Guessed(work.facts.title.strip(), 0.95, STATED_IN_FILE)
            continue
        folder = folder_title(work)
        if folder and folder.text and work.artist.value:
            folder_path = work.parts[: work.folder + 1] if work.folder is not None else ()
            if not own.key:
                work.piece = Guessed(folder.text, 0.85, "its folder's name; its own says nothing")
            elif own.key == folder.key or folder_path in single or _repeats(work, folder):
                work.piece = Guessed(folder.text, 0.85, "its folder's name")
            else:
                work.piece = Guessed(own.text, 0.75, "its own name; its folder holds several pieces")
        elif own.text:
            work.piece = Guessed(own.text, 0.8 if own.clean else 0.7, "its own name")
        if work.piece.value and not work.artist.value:
            work.piece = replace(work.piece, certainty=min(work.piece.certainty, 0.5))


def _single_piece_folders(inside: dict[tuple[str, ...], list[Work]]) -> set[tuple[str, ...]]:
    """Folders whose files are all of one piece, the folder's: most repeat its name or say nothing of their own."""
    single = set()
    folders_with: dict[str, set[tuple[str, ...]]] = defaultdict(set)
    for folder_path, works in inside.items():
        for work in works:
            if work.title and work.title.key:
                folders_with[work.title.key].add(folder_path)
    for folder_path, works in inside.items():
        folder = folder_title(works[0])
        if folder is None or not folder.key:
            continue
        proved = {w.title.key for w in works if w.title and w.proved and w.title.key and not _continues(w, folder)}
        longer = {w.title.key for w in works if w.title and w.proved and w.title.key.startswith(folder.key)}
        if len(proved) > 1 or (longer and not any(w.title and w.title.key == folder.key for w in works)):
            continue
        others = Counter(w.title.key for w in works if w.title and w.title.key and not _continues(w, folder))
        own = sum(1 for w in works if w.title and (not w.title.key or _continues(w, folder)))
        numbered = {w.title.tail or w.title.key for w in works if w.title and w.title.key != folder.key
            and w.title.key.startswith(folder.key) and _is_numbered(w.title.key[len(folder.key) :])
            and w.title.role[0] in ("master", "")}
        if len(numbered) > 1:
            continue  # "Tides/Tides 2.tif", "Tides/Tides 3.tif": a series, each a piece
        # several files of another title are another piece, unless other folders hold files of that title too
        no_other_piece = all(count == 1 or len(folders_with[key]) > 1 for key, count in others.items())
        if own and (not others or (no_other_piece and (len(others) == 1 or own > 2 * len(others)))):
            single.add(folder_path)
    return single


def _continues(work: Work, folder: Title) -> bool:
    assert work.title is not None
    return (work.title.key == folder.key or work.title.key.startswith(folder.key)
        or (len(work.title.key) >= 4 and folder.key.endswith(work.title.key)))


def _repeats(work: Work, folder: Title) -> bool:
    """Whether a file's name repeats its folder's title, of which a part was read as what the file is for, or more was
    taken for the title: "Garden and Tile/garden_and_tile_001", "Garden and Tile/output_garden_and_tile"."""
    assert work.title is not None
    name, (first, _, of_artist) = work.names[-1], beside_artist(work)
    if not work.title.key or of_artist.start >= first < of_artist.stop:
        return False
    key = title_key(name.text[name.tokens[first].start :])
    if " " in folder.text and set(fold(folder.text).split()) & set(fold(work.title.text).split()):
        return folder.key in key
    return folder.key.startswith(work.title.key) and key.startswith(folder.key)


def _is_numbered(rest: str) -> bool:
    stripped = rest.removeprefix("no").removeprefix("nr").removeprefix("nº")
    return stripped.isdigit() or (bool(stripped) and set(stripped) <= set("ivx"))


def tell_pieces_apart(works: Sequence[Work]) -> None:
    """Two masters in one folder that differ by a year or number alone are two pieces: give them that part back."""
    beside: dict[tuple[tuple[str, ...], str, str], list[Work]] = defaultdict(list)
    for work in works:
        own = work.title
        if (own and not work.counter and _tail(own) and own.key == title_key(work.piece.value)
                and own.role[0] in ("", "master")):
            beside[work.parts[:-1], work.artist_key, own.key].append(work)
    for group in beside.values():
        tails = {_tail(w.title) for w in group if w.title}
        padded = all(len(t) > 1 and t.startswith("0") for t in tails)
        if len(tails) < 2 or len(tails) < len(group) or padded:
            continue  # padded counters beside the bare title count captures, not pieces
        for work in group:
            assert work.title is not None
            work.piece = Guessed(f"{work.piece.value} {_tail(work.title)}", 0.6, "its neighbour differs by that")


def _tail(title: Title) -> str:
    """The year or number taken off a title that may tell it from another; "2 of 6" where a master says so."""
    counter = next((t.text for t in title.stripped if t.kind == Kind.COUNTER and not t.text.startswith("(")), "")
    year = next((t.text for t in title.stripped if t.kind == Kind.YEAR), "")
    return title.tail or year or (counter if any(t.role == "master" for t in title.stripped) else "")


def join_spellings(works: Sequence[Work]) -> None:
    """One artist's titles that differ in spacing, case or accents alone are written one way: as most files do."""
    written: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    for work in works:
        if work.piece.value:
            written[work.artist_key, title_key(work.piece.value)][work.piece.value] += 1
    for work in works:
        if work.piece.value:
            forms = written[work.artist_key, title_key(work.piece.value)]
            best = max(forms, key=lambda form: (
                form.count(" "), not form.isupper(), not form.islower(), forms[form], form))
            if best != work.piece.value:
                work.piece = replace(work.piece, value=best)


def follow_likeness(works: Sequence[Work]) -> None:
    """Files that show one piece get one piece: the surest name of them all."""
    groups: dict[int, list[Work]] = defaultdict(list)
    for work in works:
        if work.facts.group is not None:
            groups[work.facts.group].append(work)
    for group in groups.values():
        named = [w for w in group if w.piece.value]
        if not named or len(group) < 2:
            continue
        best = max(named, key=lambda w: (bool(w.artist.value), w.piece.certainty + w.artist.certainty,
                                         bool(w.title and w.title.clean), -len(w.parts[-1]), w.facts.path))
        for work in group:
            if (work.artist_key, title_key(work.piece.value)) != (best.artist_key, title_key(best.piece.value)):
                why = f"shows the same picture as {best.facts.path}"
                work.by_likeness = not (work.artist.value and work.piece.value)
                work.piece = Guessed(best.piece.value, min(0.9, best.piece.certainty), why)
                work.artist = Guessed(best.artist.value, min(0.9, best.artist.certainty), why)
                work.artist_key = best.artist_key
