"""Artist, piece and role of every file of an archive, from the whole tree of names, tags and likenesses at once.

Each value comes with a certainty from 0 to 1 and its reason in words, so that a person can judge it. An empty value
with certainty 0 says honestly that nothing tells. The pass is pure: paths and tags in, guesses out.
"""

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from catalogue.filing.artists import Artists, Found, person_of
from catalogue.filing.habits import Rest, Stem, find_marks
from catalogue.filing.names import Name, fold, is_device_name, is_shelf, phrases, read_name
from catalogue.filing.people import compatible
from catalogue.filing.roles import LOSSY, SMALL, judge, own_role
from catalogue.filing.titles import Title, read_title, title_key
from catalogue.filing.tokens import Kind, role_word
from catalogue.filing.vocabulary import VERSION


@dataclass(frozen=True, slots=True)
class FileFacts:
    """What is known of one file. ``path`` is relative to its store, ``/`` between parts. ``group``: files of one group
    show the same piece, as likeness found; None where that is not known. Sizes in pixels; 0 where unknown."""

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
    """One value, how sure it is (0 to 1) and why."""

    value: str = ""
    certainty: float = 0.0
    reason: str = ""


NOTHING = Guessed()


@dataclass(frozen=True, slots=True)
class Guess:
    """What is guessed of one file. ``size`` is as written, ``number`` an inventory number."""

    artist: Guessed = NOTHING
    piece: Guessed = NOTHING
    role: Guessed = NOTHING
    year: Guessed = NOTHING
    number: Guessed = NOTHING
    size: Guessed = NOTHING


_COUNTED = re.compile(r"(?<!\d)0\d+$")   # "Harbour 01" may be a title, but vouches for none


@dataclass(slots=True)
class _Work:
    """One file on its way through the passes."""

    facts: FileFacts
    parts: tuple[str, ...]
    names: tuple[Name, ...]
    found: Found | None
    artist: Guessed
    title: Title | None = None      # of the file's own name
    folder: int | None = None       # the part that may be the piece's folder
    piece: Guessed = NOTHING
    artist_key: str = ""


def guess_all(files: Sequence[FileFacts], known_artists: Iterable[str] = ()) -> list[Guess]:
    """One guess a file, in the order given. ``known_artists`` are names that a person has stated."""
    paths = [_parts(f.path) for f in files]
    artists = Artists(paths, (f.creator for f in files if f.creator), known_artists)
    works = [_begin(f, parts, artists) for f, parts in zip(files, paths, strict=True)]
    _settle_either(works)
    _read_titles(works)
    _choose(works)
    _artist_by_title(works)
    _tell_apart(works)
    _join_spellings(works)
    _follow_likeness(works)
    return _finished(works)


def _parts(path: str) -> tuple[str, ...]:
    *folders, name = path.split("/")
    stem, dot, suffix = name.rpartition(".")
    return (*folders, stem if dot and stem and len(suffix) <= 5 and suffix.isalnum() else name)


def _begin(facts: FileFacts, parts: tuple[str, ...], artists: Artists) -> _Work:
    names = tuple(read_name(part) for part in parts)
    found = artists.find(parts)
    if facts.creator.strip():
        artist = Guessed(artists.canonical(facts.creator), 0.97, "stated in the file")
    elif found:
        artist = Guessed(found.artist, found.certainty, found.reason)
    else:
        artist = NOTHING
    work = _Work(facts, parts, names, found, artist)
    work.artist_key = fold(artist.value)
    work.folder = _piece_folder(work)
    return work


def _piece_folder(work: _Work) -> int | None:
    """The deepest folder that may name a piece: below the artist's, and more than a shelf."""
    start = work.found.part + 1 if work.found and work.found.part < len(work.parts) - 1 else 0
    for part in range(len(work.parts) - 2, start - 1, -1):
        name = work.names[part]
        if not is_shelf(name) and not is_device_name(name):
            return part
    if work.found and work.found.part < len(work.parts) - 1:   # "Smith - Harbour/scan1.tif"
        folder = work.names[work.found.part]
        first, last = _without(folder, work.found)
        if any(t.kind is Kind.WORD for t in folder.tokens[first:last + 1]):
            return work.found.part
    return None


def _without(name: Name, found: Found) -> tuple[int, int]:
    """The longer stretch of tokens before or behind the artist's name."""
    before, behind = (0, found.first - 1), (found.last + 1, len(name.tokens) - 1)
    return max((before, behind), key=lambda span: sum(
        t.kind is Kind.WORD for t in name.tokens[span[0]:span[1] + 1]))


def _settle_either(works: Sequence[_Work]) -> None:
    """Where a written name may mean several artists ("Leith"), files of the same folder may say which; else nobody does."""
    for work in works:
        if not work.found or not work.found.either or work.facts.creator.strip():
            continue
        place = work.parts[:work.found.part + 1]
        own = {name for phrase in phrases(work.parts[-1]) if phrase.person.given for name in work.found.either
               if (person := person_of(name)) and compatible(phrase.person, person)}
        near = own if len(own) == 1 else {w.artist.value for w in works if w.parts[:len(place)] == place and w.artist.value in work.found.either}
        if len(near) == 1:
            work.artist = Guessed(near.pop(), 0.7, "its folder's other files name this artist")
        else:
            work.artist = Guessed("", 0.0, f"{work.found.artist} may be {' or '.join(work.found.either)}")
        work.artist_key = fold(work.artist.value)


def _artist_by_title(works: Sequence[_Work]) -> None:
    """A file that names no artist, but a title that one artist alone has, is that artist's."""
    owners: dict[str, set[str]] = defaultdict(set)
    for work in works:
        if work.artist.value and work.piece.value:
            owners[title_key(work.piece.value)].add(work.artist.value)
    for work in works:
        if work.piece.value and not work.artist.value and not (work.found and work.found.either):
            owner = owners.get(title_key(work.piece.value), set())
            if len(owner) == 1 and len(title_key(work.piece.value)) > 3:
                work.artist = Guessed(next(iter(owner)), 0.6, "the only artist with a piece of that title")
                work.artist_key = fold(work.artist.value)


def _read_titles(works: Sequence[_Work]) -> None:
    """Titles of the files' own names: what surely is one, then the archive's marks, then all in the light of both."""
    folders: dict[str, set[str]] = defaultdict(set)
    for work in works:
        folder = _folder_title(work)
        if folder and folder.key:
            folders[work.artist_key].add(folder.key)
    marks: frozenset[Rest] = frozenset()
    known: dict[str, set[str]] = {}
    for _ in range(2):   # first without marks, to find them
        known = {artist: set(keys) for artist, keys in folders.items()}
        doubtful: dict[str, set[tuple[str, str]]] = defaultdict(set)
        for work in works:
            title = _own_title(work, frozenset(), marks)
            if not title.key or not title.clean or _COUNTED.search(title.text):
                continue
            known.setdefault(work.artist_key, set()).add(title.key)
            *before, last = re.split(r"[\s-]+", title.text)
            if before and (role_word(last) or last.casefold() in VERSION or (last.isdigit() and "-" in title.text)):
                doubtful[work.artist_key].add((title.key, title_key(" ".join(before))))
        for artist, pairs in doubtful.items():   # "Low Tide copy" vouches for nothing where there is a "Low Tide"
            known[artist] -= {key for key, shorter in pairs if not marks or shorter in known[artist]}
        marks = marks or find_marks((Stem(w.artist_key, w.names[-1], *_beside_artist(w)[:2]) for w in works), known)
    everyone = frozenset().union(*known.values())
    for work in works:
        near = frozenset(known.get(work.artist_key, ())) if work.artist_key else everyone
        work.title = _own_title(work, near, marks)


def _own_title(work: _Work, near: frozenset[str], marks: frozenset[Rest]) -> Title:
    name = work.names[-1]
    if is_device_name(name) and not any(
            title_key(name.between(0, i)) in near for i in range(len(name.tokens) - 1, 0, -1)):
        return Title("", True, tuple(t for t in name.tokens if t.kind is not Kind.ROLE or len(name.tokens) == 1))
    first, last, away = _beside_artist(work)
    small = work.facts.format in LOSSY or 0 < max(work.facts.width, work.facts.height) < SMALL // 2
    title = read_title(name, first, last, is_title=near.__contains__, small=small, marks=marks)
    outside = tuple(t for i, t in enumerate(name.tokens) if not first <= i <= last and i not in away)
    if not outside:
        return title
    extra = read_title(name, last + 1, len(name.tokens) - 1, small=small) if last < len(name.tokens) - 1 else None
    year = title.year or next((t.text for t in outside if t.kind is Kind.YEAR), "")
    number = title.number or (extra.number if extra else "") or next(
        (t.text.split()[-1] for t in outside if t.kind is Kind.INVENTORY), "")
    return replace(title, stripped=title.stripped + outside, year=year, number=number,
                   size=title.size or (extra.size if extra else ""))


def _beside_artist(work: _Work) -> tuple[int, int, range]:
    """The tokens of a file's name, first and last, that stand beside its artist's name; and those of the artist's."""
    name = work.names[-1]
    last = len(name.tokens) - 1
    away = range(0)
    if work.found and work.found.part == len(work.parts) - 1:
        away = range(work.found.first, work.found.last + 1)
    elif artist := person_of(work.artist.value):   # the folder names the artist; the file may do so again
        again = [p for p in phrases(work.parts[-1]) if compatible(p.person, artist) and (p.bounded or p.person.given)]
        if again:
            longest = max(again, key=lambda p: p.last - p.first)
            away = range(longest.first, longest.last + 1)
    if not away:
        return 0, last, away
    behind = any(t.kind is Kind.WORD for t in name.tokens[away.stop:])
    before = any(t.kind is Kind.WORD for t in name.tokens[:away.start])
    if before and not (behind and away.start == 0):
        return (away.stop, last, away) if behind and not before else (0, away.start - 1, away)
    return (away.stop, last, away) if behind or away.start == 0 else (0, last, away)


def _folder_title(work: _Work) -> Title | None:
    if work.folder is None:
        return None
    name = work.names[work.folder]
    first, last = 0, len(name.tokens) - 1
    if work.found and work.found.part == work.folder:
        first, last = _without(name, work.found)
    return read_title(name, first, last)


def _choose(works: Sequence[_Work]) -> None:
    """The piece of each file: what its own name says, or its folder, as the folder's other files show."""
    inside: dict[tuple[str, ...], list[_Work]] = defaultdict(list)
    for work in works:
        if work.folder is not None:
            inside[work.parts[:work.folder + 1]].append(work)
    single = _single_piece_folders(inside)
    for work in works:
        own = work.title
        assert own is not None
        if work.facts.title.strip() and not is_device_name(read_name(work.facts.title.strip())):
            work.piece = Guessed(work.facts.title.strip(), 0.95, "stated in the file")
            continue
        folder = _folder_title(work)
        if folder and folder.text:
            place = work.parts[:work.folder + 1] if work.folder is not None else ()
            if not own.key:
                work.piece = Guessed(folder.text, 0.85, "its folder's name; its own says nothing")
            elif own.key == folder.key or place in single:
                work.piece = Guessed(folder.text, 0.85, "its folder's name")
            else:
                work.piece = Guessed(own.text, 0.75, "its own name; its folder holds several pieces")
        elif own.text:
            work.piece = Guessed(own.text, 0.8 if own.clean else 0.7, "its own name")
        if work.piece.value and not work.artist.value:
            work.piece = replace(work.piece, certainty=min(work.piece.certainty, 0.5))


def _single_piece_folders(inside: dict[tuple[str, ...], list[_Work]]) -> set[tuple[str, ...]]:
    """Folders whose files are all of one piece, the folder's: most repeat its name or say nothing of their own."""
    single = set()
    for place, works in inside.items():
        folder = _folder_title(works[0])
        if folder is None or not folder.key:
            continue
        others = Counter(w.title.key for w in works if w.title and w.title.key and not _continues(w, folder))
        own = sum(1 for w in works if w.title and (not w.title.key or _continues(w, folder)))
        numbered = {w.title.tail or w.title.key for w in works if w.title and w.title.key != folder.key
                    and w.title.key.startswith(folder.key) and _is_numbered(w.title.key[len(folder.key):])
                    and own_role(w.title.stripped)[0] in ("master", "")}
        if len(numbered) > 1:
            continue   # "Tides/Tides 2.tif", "Tides/Tides 3.tif": a series, each a piece
        if own and (not others or (len(others) == 1 and own >= sum(others.values())) or own > 2 * len(others)):
            single.add(place)
    return single


def _continues(work: _Work, folder: Title) -> bool:
    assert work.title is not None
    return work.title.key == folder.key or work.title.key.startswith(folder.key) or (
        len(work.title.key) >= 4 and folder.key.endswith(work.title.key))


def _is_numbered(rest: str) -> bool:
    stripped = rest.removeprefix("no").removeprefix("nr").removeprefix("nº")
    return stripped.isdigit() or (bool(stripped) and set(stripped) <= set("ivx"))


def _tell_apart(works: Sequence[_Work]) -> None:
    """Two masters in one folder that differ by a year or number alone are two pieces: give them that part back."""
    beside: dict[tuple[tuple[str, ...], str, str], list[_Work]] = defaultdict(list)
    for work in works:
        own = work.title
        if own and _tail(own) and own.key == title_key(work.piece.value) and own_role(own.stripped)[0] in ("", "master"):
            beside[work.parts[:-1], work.artist_key, own.key].append(work)
    for group in beside.values():
        tails = {_tail(w.title) for w in group if w.title}
        padded = all(len(t) > 1 and t.startswith("0") for t in tails)
        if len(tails) < 2 or len(tails) < len(group) or padded:
            continue   # padded counters beside the bare title count captures, not pieces
        for work in group:
            assert work.title is not None
            work.piece = Guessed(f"{work.piece.value} {_tail(work.title)}", 0.6, "its own name; its neighbour differs by that")


def _tail(title: Title) -> str:
    """The year or number taken off a title that may tell it from another; "2 of 6" where a master says so."""
    counter = next((t.text for t in title.stripped if t.kind is Kind.COUNTER and not t.text.startswith("(")), "")
    return title.tail or (counter if any(t.role == "master" for t in title.stripped) else "")


def _join_spellings(works: Sequence[_Work]) -> None:
    """One artist's titles that differ in spacing, case or accents alone are written one way: as most files do."""
    written: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    for work in works:
        if work.piece.value:
            written[work.artist_key, title_key(work.piece.value)][work.piece.value] += 1
    for work in works:
        if work.piece.value:
            forms = written[work.artist_key, title_key(work.piece.value)]
            best = max(forms, key=lambda form: (form.count(" "), not form.isupper(), not form.islower(), forms[form], form))
            if best != work.piece.value:
                work.piece = replace(work.piece, value=best)


def _follow_likeness(works: Sequence[_Work]) -> None:
    """Files that show one piece get one piece: the surest name of them all."""
    groups: dict[int, list[_Work]] = defaultdict(list)
    for work in works:
        if work.facts.group is not None:
            groups[work.facts.group].append(work)
    for group in groups.values():
        named = [w for w in group if w.piece.value]
        if not named or len(group) < 2:
            continue
        best = max(named, key=lambda w: (bool(w.artist.value), w.piece.certainty + w.artist.certainty,
                                         w.title.clean if w.title else False, -len(w.parts[-1]), w.facts.path))
        for work in group:
            if (work.artist_key, title_key(work.piece.value)) != (best.artist_key, title_key(best.piece.value)):
                why = f"shows the same picture as {best.facts.path}"
                work.piece = Guessed(best.piece.value, min(0.9, best.piece.certainty), why)
                work.artist = Guessed(best.artist.value, min(0.9, best.artist.certainty), why)
                work.artist_key = best.artist_key


def _finished(works: Sequence[_Work]) -> list[Guess]:
    pieces: dict[tuple[str, str], list[_Work]] = defaultdict(list)
    for work in works:
        if work.piece.value:
            pieces[work.artist_key, title_key(work.piece.value)].append(work)
    guesses = []
    for work in works:
        own = work.title
        assert own is not None
        mates = pieces.get((work.artist_key, title_key(work.piece.value)), [work]) if work.piece.value else [work]
        role = _role(work, mates)
        guesses.append(Guess(
            work.artist, work.piece, role,
            *(Guessed(value, 0.6, "its name") if value else NOTHING for value in (
                own.year or _folder_year(work), own.number, own.size))))
    return guesses


def _folder_year(work: _Work) -> str:
    for name in reversed(work.names[:-1]):
        for token in name.tokens:
            if token.kind is Kind.YEAR:
                return token.text
    return ""


def _role(work: _Work, mates: Sequence[_Work]) -> Guessed:
    assert work.title is not None
    facts = work.facts
    siblings = [m for m in mates if m.parts[:-1] == work.parts[:-1]]
    counted = [m for m in siblings if _counter(m)]
    whole = [m for m in mates if m is not work and not _counter(m) and m.facts.picture and m.facts.format not in LOSSY
             and m.title is not None and own_role(m.title.stripped)[0] in ("", "master")]
    tile_set = bool(_counter(work)) and len(counted) >= 2 and len({_counter(m) for m in counted}) == len(counted) and (
        bool(whole) or any(_raw(name) for name in work.names[:-1]))
    first = work.found.part + 1 if work.found else 0
    folders = [n for i, n in enumerate(work.names[:-1]) if i >= first or is_shelf(n)]
    small = 0 < max(facts.width, facts.height) < SMALL
    judged = judge(work.title.stripped, folders, picture=facts.picture, lossy=facts.format in LOSSY, small=small,
                   tile_set=tile_set, has_master=bool(whole))
    return Guessed(judged.role, judged.certainty, judged.reason)


def _counter(work: _Work) -> str:
    """The number with which a file's name ends, if it ends in one that is no year and no size."""
    tokens = [t for t in work.names[-1].tokens if t.kind is not Kind.BREAK]
    last = tokens[-1] if tokens else None
    if last is None:
        return ""
    if last.kind is Kind.VERSION and not last.text.startswith("("):
        return ""
    if last.kind in (Kind.NUMBER, Kind.COUNTER) or (last.kind is Kind.VERSION and last.text.startswith("(")):
        return last.text
    digits = last.text.lstrip("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ")
    return digits if digits.isdigit() else ""


def _raw(name: Name) -> bool:
    return any(t.role in ("raw", "tile") for t in name.tokens)
