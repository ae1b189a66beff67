"""Artist, piece and role of every file of an archive, from the whole tree of names, tags and likenesses at once.

Each value comes with a certainty from 0 to 1 and its reason in words, so that a person can judge it. An empty value
with certainty 0 says honestly that nothing tells. The pass is pure: paths and tags in, guesses out.
"""

import gc
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from string import ascii_letters

from catalogue.filing.artists import Artists
from catalogue.filing.counting import skip_running_numbers, take_off_counters
from catalogue.filing.endings import Endings
from catalogue.filing.folders import bare_stems, folder_kinds, folder_titles, purpose_key
from catalogue.filing.joints import write_out_fields
from catalogue.filing.model import LOSSY, NOTHING, SMALL, FileFacts, Guess, Guessed, Work
from catalogue.filing.names import Name, read_name
from catalogue.filing.own_titles import beside_artist, read_titles
from catalogue.filing.passes import (
    begin,
    choose_pieces,
    find_artists_by_title,
    follow_likeness,
    join_spellings,
    settle_ambiguous_artists,
    split_path,
    tell_pieces_apart,
    titles_that_give_way,
)
from catalogue.filing.places import Place, place_of
from catalogue.filing.purposes import Purposes, learn_purposes
from catalogue.filing.roles import judge
from catalogue.filing.separating import keep_apart
from catalogue.filing.titles import Title, title_key
from catalogue.filing.tokens import SURE, Kind

__all__ = ["FileFacts", "Guess", "Guessed", "guess_all"]


def guess_all(files: Sequence[FileFacts], known_artists: Iterable[str] = ()) -> list[Guess]:
    """One guess a file, in the order given. ``known_artists`` are names that a person has stated."""
    with _garbage_collection_paused():
        return _guess_all(files, known_artists)


@contextmanager
def _garbage_collection_paused() -> Iterator[None]:
    """Many small objects live until the end and none in circles: looking for garbage took a quarter of the time."""
    was_enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_enabled:
            gc.enable()


def _guess_all(files: Sequence[FileFacts], known_artists: Iterable[str]) -> list[Guess]:
    paths = write_out_fields([split_path(f.path) for f in files])
    endings = Endings([read_name(text) for text in sorted({path[-1] for path in paths})],
                      [read_name(text) for text in folder_titles(path[:-1] for path in paths)])
    places = find_places(paths, endings)
    by_path = sorted(dict.fromkeys(places), key=lambda place: (place.folders, place.stem, place.last))
    artists = Artists(by_path, (f.creator for f in files if f.creator), known_artists)
    works = [begin(facts, parts, place, artists) for facts, parts, place in zip(files, paths, places, strict=True)]
    end_behind_artists(works, endings)
    settle_ambiguous_artists(works)
    skip_running_numbers(works)
    read_titles(works)
    take_off_counters(works)
    choose_pieces(works)
    purposes = titles_that_give_way(works)
    find_artists_by_title(works, endings.words_known, purposes)
    tell_pieces_apart(works)
    keep_apart(works, endings.words_known, purposes, learn_purposes(works))
    join_spellings(works)
    follow_likeness(works)
    return _finished(works)


def find_places(paths: Sequence[tuple[str, ...]], endings: Endings) -> list[Place]:
    """The place of each file, and which parts of its name may be artist and title."""
    distinct = dict.fromkeys(paths)
    stems = {path[-1]: read_name(path[-1]) for path in distinct}
    bare = bare_stems(distinct)
    spans = {text: (0, -1, False) if text in bare else _span(name, endings) for text, name in stems.items()}
    titles = {text: _words(stems[text], *span[:2]) for text, span in spans.items()}
    kinds = folder_kinds([path[:-1] for path in distinct], [titles[path[-1]] for path in distinct])
    begun = {text: _shortest(name, spans[text][1] if spans[text][1] >= spans[text][0] else -1)
             for text, name in stems.items()}
    places: dict[tuple[tuple[str, ...], str, int, int, bool], Place] = {}
    at: dict[tuple[str, ...], Place] = {}
    kinds_of: dict[tuple[str, ...], str] = {}
    for path in distinct:
        folders = path[:-1]
        kind = kinds_of.get(folders)
        if kind is None:
            kind = kinds_of[folders] = "".join(kinds[path[:depth]] for depth in range(1, len(path)))
        key = folders, begun[path[-1]], *spans[path[-1]]
        place = places.get(key)
        if place is None:
            place = places[key] = place_of(folders, kind, *key[1:])
        at[path] = place
    return [at[path] for path in paths]


def _shortest(name: Name, last: int) -> str:
    """The text of a name up to a token, or all of it where what follows says how that token is read."""
    text = name.text[: name.tokens[last].end] if last >= 0 else ""
    cut = read_name(text)
    same = cut.tokens == name.tokens[: last + 1] and (
        "-" not in name.text or cut.units == tuple(u for u in name.units if u.last <= last))
    return text if same else name.text


def _span(name: Name, endings: Endings) -> tuple[int, int, bool]:
    """The tokens of a stem, first and last, without the archive's beginnings and endings, and whether other names prove
    where they are; none of a scanner's name."""
    if name.tokens and name.tokens[0].kind == Kind.YEAR and name.tokens[0].text < "2000" and not any(
            t.kind == Kind.WORD for t in name.tokens):
        return 0, 0, True  # "1988-(1)"
    begins = name.spoken[0].kind if name.spoken else Kind.NUMBER
    if name.is_device or begins in (Kind.SIZE, Kind.RESOLUTION):
        return 0, -1, False
    first = endings.start(name)
    behind, proved = endings.cut(name, first)
    if not proved:
        behind = endings.strip(name, first, behind - 1)
    last = behind - 1
    while last >= first and (name.tokens[last].kind == Kind.BREAK or name.tokens[last].kind in SURE):
        last -= 1
    if not proved and not any(t.kind == Kind.YEAR or (t.kind == Kind.WORD and (len(t.text) > 1 or not t.text.isascii()))
            for t in name.tokens[first : last + 1]):
        return 0, -1, False  # "re-scan 2" says nothing of what it shows
    return first, last, proved


def end_behind_artists(works: Sequence[Work], endings: Endings) -> None:
    """Names that seemed to end with their artist are read again from there: "Ada Quill - Final Web - tile"."""
    for work in works:
        name = work.names[-1]
        first, last, away = beside_artist(work)
        if not away or first <= last or all(t.kind == Kind.BREAK for t in name.tokens[away.stop :]):
            continue
        behind, proved = endings.cut(name, away.stop)
        if not proved:
            behind = endings.strip(name, away.stop, behind - 1)
        while behind > away.stop and (name.tokens[behind - 1].kind == Kind.BREAK or
                                      name.tokens[behind - 1].kind in SURE):
            behind -= 1
        if behind > away.stop + (name.tokens[away.stop].kind == Kind.BREAK):
            work.last, work.proved = behind - 1, proved


def _words(name: Name, first: int, last: int) -> str:
    return title_key(" ".join(t.text for t in name.tokens[first : last + 1] if t.kind not in SURE)) if last >= 0 else ""


def _finished(works: Sequence[Work]) -> list[Guess]:
    purposes = learn_purposes(works)
    pieces: dict[tuple[str, str], list[Work]] = defaultdict(list)
    for work in works:
        work.counter = work.counter or _closing_number(work.names[-1])
        if work.piece.value:
            pieces[work.artist_key, title_key(work.piece.value)].append(work)
    captures = {key: _count_captures(of_piece) for key, of_piece in pieces.items()}
    guesses = []
    for work in works:
        own = work.title
        assert own is not None
        of_piece = captures.get((work.artist_key, title_key(work.piece.value))) or _count_captures([work])
        year, number, size = (Guessed(value, 0.6, "its name") if value else NOTHING
                              for value in (own.year or _folder_year(work), own.number, own.size))
        guesses.append(Guess(work.artist, work.piece, _role(work, own, of_piece, purposes), year, number, size,
                             work.by_likeness))
    return guesses


def _folder_year(work: Work) -> str:
    years = (token.text for name in reversed(work.names[:-1]) for token in name.tokens if token.kind == Kind.YEAR)
    return next(years, "")


@dataclass(frozen=True, slots=True)
class _Captures:
    """What the files of one piece show together: counters by folder, and how many look like whole pictures."""

    counters: dict[tuple[str, ...], list[str]]
    whole: int

    def is_tile_set(self, work: Work) -> bool:
        """Whether a file is one of several equal captures, each with a number of its own."""
        counters = self.counters[work.parts[:-1]] if work.counter else []
        if len(counters) < 2 or len(set(counters)) < len(counters):
            return False
        return self.whole > 0 or any(t.role in ("raw", "tile") for name in work.names[:-1] for t in name.tokens)


def _count_captures(works: Sequence[Work]) -> _Captures:
    counters: dict[tuple[str, ...], list[str]] = defaultdict(list)
    for work in works:
        if work.counter:
            counters[work.parts[:-1]].append(work.counter)
    return _Captures(counters, sum(_is_whole(w) for w in works))


def _is_whole(work: Work) -> bool:
    return (not work.counter and work.facts.picture and work.facts.format not in LOSSY
            and work.title is not None and work.title.role[0] in ("", "master"))


def _role(work: Work, title: Title, captures: _Captures, purposes: Purposes) -> Guessed:
    facts = work.facts
    first = work.artist_in_path.part + 1 if work.artist_in_path else 0
    return judge(title, [n for i, n in enumerate(work.names[:-1]) if i >= first or n.is_shelf], picture=facts.picture,
        lossy=facts.format in LOSSY, small=0 < max(facts.width, facts.height) < SMALL,
        tile_set=captures.is_tile_set(work), has_master=captures.whole > _is_whole(work),
        learned=_learned(work, title, purposes))


def _learned(work: Work, title: Title, purposes: Purposes) -> tuple[str, str]:
    """The role, and the word that says so, by the archive's own words: in the name, else of the nearest folder."""
    for folded, text in title.words_beside.items():
        if role := purposes.words.get(folded, ""):
            return role, text
    for text in reversed(work.parts[:-1]):
        if role := purposes.folders.get(purpose_key(text), ""):
            return role, text
    return "", ""


def _closing_number(name: Name) -> str:
    """The number with which a file's name ends, if it ends in one that is no year and no size."""
    if not name.spoken:
        return ""
    last = name.spoken[-1]
    if last.kind in (Kind.NUMBER, Kind.COUNTER) or (last.kind == Kind.VERSION and last.text.startswith("(")):
        return last.text
    digits = last.text.lstrip(ascii_letters)
    return digits if last.kind != Kind.VERSION and digits.isdecimal() else ""
