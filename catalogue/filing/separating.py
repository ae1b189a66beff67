"""Separating pieces that were read as one, if their files' names differ in words that nothing explains.

Two pieces filed as one cannot be noticed in the list, one piece filed as two can: so when in doubt there are two. A
title is checked against everything its file says: words and series numbers of the name that are neither in the title
nor in the artist's name, nor known as a purpose, a version, a size, a date or a counter.
"""

import re
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from collections.abc import Set as Collection

from catalogue.filing import vocabulary as words
from catalogue.filing.folding import fold
from catalogue.filing.model import NOTHING, STATED_IN_FILE, Guessed, Work
from catalogue.filing.names import WORDS, Name
from catalogue.filing.own_titles import beside_artist
from catalogue.filing.people import person_of
from catalogue.filing.places import SURELY
from catalogue.filing.purposes import Purposes
from catalogue.filing.symbols import is_roman
from catalogue.filing.titles import says_only_purpose, title_key
from catalogue.filing.tokens import Kind, Token

_PAIR = re.compile(r"(\d)[-/](\d)")
CAPTURES = frozenset({"tile", "raw"})   # roles of captures, which are counted


def keep_apart(works: Sequence[Work], explained: Collection[str], no_titles: Collection[str],
               purposes: Purposes) -> None:
    """Give files of one title that differ in unexplained words those words back, or no title where it is none.

    ``explained``: words, folded, that are known in this archive to say what a file is for; ``no_titles``: keys of what
    says so in place of a title; ``purposes``: the roles of such words.
    """
    filed: dict[tuple[str, str], list[Work]] = defaultdict(list)
    proved = {word for work in works if work.proved and work.title for word in fold(work.title.text).split()}
    beside: dict[str, set[str]] = defaultdict(set)
    for work in works:
        if rest := _beside_folder_title(work):
            beside[rest].add(work.folder_title)
    artists = {title_key(name) for name in {work.artist.value for work in works}
               if (person := person_of(name)) and person.form >= SURELY}
    for work in works:
        if work.piece.value and work.artist.value and work.piece.reason != STATED_IN_FILE:
            key = title_key(work.piece.value)
            is_artist = key in artists or set(fold(work.piece.value).split()) <= set(work.artist_key.split())
            is_purpose = key in no_titles or _is_named_like_its_folder(work)
            if key in artists or ((is_purpose or is_artist) and not _is_vouched_for(work, explained)):
                work.piece = NOTHING  # "original", or the artist's name
            else:
                filed[work.artist_key, key].append(work)
    for (artist, key), group in filed.items():
        folders = {work.folder_title for work in group} - {"", key}
        repeated = {work.facts.path: _repeated_folder(work) for work in group}
        if len(set(repeated.values())) > 1:
            for work in group:
                if name := repeated[work.facts.path]:
                    work.piece = Guessed(name, 0.7, "its own name repeats its folder's")
            continue
        if len(folders) > 1 and all((artist, folder) in filed for folder in folders):
            for work in group:  # in folders of several pieces: a word for a purpose
                work.piece = work.piece if work.folder_title in ("", key) else NOTHING
        elif len({_content_folder(work) for work in group}) > 1 and (
                len({_counter_before(work) for work in group} - {""}) > 1
                or says_only_purpose(group[0].piece.value, explained)):
            for work in group:  # "close-up", "Tile 3 close-up" in one job's folder and another's
                work.piece = work.piece if _is_vouched_for(work, explained) else NOTHING
        elif len({_words_behind_artist(work, explained) for work in group}) > 1:
            for work in group:  # "print_Ada_Quill_moor", "print_Ada_Quill_pier"
                work.piece = work.piece if _is_vouched_for(work, explained) else NOTHING
        elif len({number for work in group if (number := _number_of_untitled(work))}) > 1:
            for work in group:
                work.piece = NOTHING if _number_of_untitled(work) else work.piece
        elif len(group) > 1:
            series, in_titles = _series_before_counters(group), _words_before_purposes(group, purposes)
            more = _paths_that_say_more(group, beside)
            left_over = [
                _left_of_folder(work) if _is_vouched_for(work, explained) and work.facts.path not in more else
                sorted({*in_titles.get(work.facts.path, []), *(series.get(work.facts.path) or _unexplained(
                    work, frozenset() if work.facts.path in more else explained, proved, purposes.words))},
                    key=lambda token: token.start)
                for work in group]
            if len({_key(tokens) for tokens in left_over}) > 1:
                for work, tokens in zip(group, left_over, strict=True):
                    if tokens:
                        title = " ".join((work.piece.value, *(token.text for token in tokens)))
                        work.piece = Guessed(title, 0.5, "other files of that title differ by this")


def _is_vouched_for(work: Work, explained: Collection[str]) -> bool:
    """Whether its folder bears the title of a file, which is no word for a purpose, and its own name says nothing
    else."""
    own = work.title.key if work.title else ""
    return (work.folder_title == title_key(work.piece.value) and bool(own or work.last < work.first)
            and not says_only_purpose(work.piece.value, explained))


def _paths_that_say_more(group: Sequence[Work], beside: Mapping[str, Collection[str]]) -> set[str]:
    """Paths of files whose names hold their folder's title and other words that surely belong to a title: several
    files have them, and beside this title alone ("Window/Window_without_Frame"), or each file has others
    ("lowres/Window lowres", "lowres/Moor lowres"). ``beside``: by such words the folders' titles they stand beside."""
    counts = Counter(_span_key(work) for work in group)
    ends = {key for work in group if work.folder_title and (key := _span_key(work)) != work.folder_title
            and key.endswith(work.folder_title)}
    return {work.facts.path for work in group if (rest := _beside_folder_title(work)) and (
        (len(beside[rest]) == 1 and counts[_span_key(work)] > 1) or (_span_key(work) in ends and len(ends) > 1))}


def _beside_folder_title(work: Work) -> str:
    """What a file's name says before or behind the title of its folder."""
    key = _span_key(work) if work.folder_title else ""
    if key.startswith(work.folder_title):
        return key[len(work.folder_title) :]
    return key[: -len(work.folder_title)] if key.endswith(work.folder_title) else ""


def _repeated_folder(work: Work) -> str:
    """The folder's name, below the artist's, that a file's name repeats though its title was read shorter:
    "Last Web/master/last-web-final" as "Last"."""
    first = work.artist_in_path.part + 1 if work.artist_in_path else 0
    own_key, title = title_key(work.parts[-1]), title_key(work.piece.value)
    for name in reversed(work.parts[first:-1]):
        key = title_key(name)
        if title in key != title and key in own_key:
            return name
    return ""


def _is_named_like_its_folder(work: Work) -> bool:
    """Whether a title is but the name of the folder for a purpose in which it lies, counted: "part/part_d"."""
    if work.kinds[-1:] not in ("p", "s"):
        return False
    folder, title = title_key(work.parts[-2]), title_key(work.piece.value)
    return title.startswith(folder) and (len(title) - len(folder) < 2 or title[len(folder) :].isdigit())


def _span_key(work: Work) -> str:
    return title_key(work.names[-1].between(work.first, work.last)) if work.last >= work.first else ""


def _content_folder(work: Work) -> tuple[str, ...]:
    """The deepest folder that is neither shelf nor purpose."""
    return work.parts[: work.kinds.rfind("c") + 1]


def _words_behind_artist(work: Work, explained: Collection[str]) -> str:
    """What a file's name says behind its artist that may be a title, where the title was read before."""
    title, of_artist = set(fold(work.piece.value).split()), beside_artist(work)[2]
    tokens = work.names[-1].tokens[of_artist.stop :] if of_artist.start > work.first else ()
    return _key([token for token in tokens if token.kind == Kind.YEAR or (
        token.kind == Kind.WORD and fold(token.text) not in title and (
            says_only_purpose(work.piece.value, explained) or not _is_explained(token, work, explained)))])


def _counter_before(work: Work) -> str:
    """The "Tile 3" with which a file's name begins, if more is taken for its title."""
    if not work.title or not work.title.key:
        return ""
    token = next(iter(work.names[-1].spoken), None)
    return token.text if token and token.kind == Kind.COUNTER else ""


def _number_of_untitled(work: Work) -> str:
    """The "4" of "untitled-4", which a program gives, or a person to one of several works."""
    tokens = work.names[-1].spoken
    own = work.title.key if work.title else ""
    return tokens[1].text if not own and len(tokens) > 1 and tokens[1].kind == Kind.NUMBER and (
        fold(tokens[0].text) in words.UNTITLED) else ""


def _left_of_folder(work: Work) -> list[Token]:
    """Series numbers of the folder that names both artist and piece, where its title has them not."""
    if work.folder is None or work.artist_in_path is None or work.artist_in_path.part != work.folder:
        return []
    tokens = work.names[work.folder].tokens
    return [token for token in tokens[work.artist_in_path.last + 1 :] if token.kind == Kind.NUMBER
            and len(token.text) < 3 and token.text not in fold(work.piece.value).split()]


def _key(tokens: Sequence[Token]) -> str:
    return title_key(" ".join(token.text for token in tokens))


def _unexplained(work: Work, explained: Collection[str], of_titles: Collection[str],
                 roles: Mapping[str, str]) -> list[Token]:
    """Words and series numbers of a file's own name, up to where other names prove that it goes on with purposes, that
    neither title nor artist nor a known word accounts for; and words before and behind that known of titles."""
    name = work.names[-1]
    title_words = set(fold(work.piece.value).split())
    says_purpose = says_only_purpose(work.piece.value, explained)
    first, last, of_artist = beside_artist(work)
    before_artist = bool(of_artist) and last < of_artist.start and first < of_artist.start
    last = len(name.tokens) if says_purpose or before_artist else work.last + 1
    left_over = []
    for at in range(work.first, min(last, _start_of_counter(work))):
        token = name.tokens[at]
        if at in of_artist or fold(token.text) in {"", *title_words}:
            continue
        if token.kind == Kind.NUMBER:
            left_over += [] if _counts(name, at, behind_purpose=says_purpose) else [token]
        elif token.role and at == work.first and any(
                token.role in (t.role, roles.get(fold(t.text))) for t in name.tokens[work.last + 1 :]):
            left_over.append(token)  # "small_window_for client": what it is for is said behind the title
        elif token.kind == Kind.WORD:
            closes = not any(t.kind == Kind.WORD for t in name.tokens[at + 1 : last])
            counts = is_roman(token.text) and closes    # "fyr i" beside "fyr ii"
            left_over += [] if not counts and _is_explained(token, work, explained) else [token]
    left_over += [token for at, token in enumerate(name.tokens) if not work.first <= at < last and at not in of_artist
                  and token.kind == Kind.WORD and len(token.text) > 2 and fold(token.text) in of_titles
                  and not _is_explained(token, work, explained)]
    return left_over


def _is_explained(token: Token, work: Work, explained: Collection[str]) -> bool:
    folded = fold(token.text)
    return folded in explained or folded in words.FUNCTION or folded in words.POSITION or (
        title_key(token.text) in title_key(work.piece.value))


def _words_before_purposes(group: Sequence[Work], purposes: Purposes) -> dict[str, list[Token]]:
    """By path the word behind the title that belongs to it, though it ends other names: in "Blue Print - master", "Blue
    Print - web" the word stands before several purposes, which a purpose does not."""
    behind: dict[str, set[str]] = defaultdict(set)
    words_of: dict[str, tuple[str, Token]] = {}
    for work in group:
        tail = _behind_title(work)
        if tail and tail[0].kind in WORDS:
            word = fold(tail[0].text)
            words_of[work.facts.path] = word, tail[0]
            if "," in work.names[-1].text[max(0, tail[0].start - 2) : tail[0].start]:
                behind[word] |= {"tile", "master"}  # "Orchard, Master_approved": no comma stands before a purpose
            behind[word].add(next((role for token in tail[1:] if (role := _role_of(token, purposes))), ""))
    return {path: [token] for path, (word, token) in words_of.items() if len(behind[word] - {""}) > 1}


def _role_of(token: Token, purposes: Purposes) -> str:
    return "tile" if token.kind == Kind.COUNTER else token.role or purposes.words.get(fold(token.text), "")


def _behind_title(work: Work) -> list[Token]:
    """The tokens of a file's own name behind its title; none where the title does not stand in it as it is."""
    name, wanted = work.names[-1], title_key(work.piece.value)
    for first in range(work.first, len(name.tokens)):
        if not wanted.startswith(title_key(name.tokens[first].text) or " "):
            continue
        for last in range(first, min(len(name.tokens), first + 12)):
            if title_key(name.between(first, last)) == wanted:
                _, _, of_artist = beside_artist(work)
                return [token for at, token in enumerate(name.tokens)
                        if at > last and at not in of_artist and token.kind != Kind.BREAK]
    return []


def _series_before_counters(group: Sequence[Work]) -> dict[str, list[Token]]:
    """By path the "3" of "Untitled 3-1", "Untitled 3-2": what reads as "1 of 3" elsewhere is a series number and a
    counter where the second number changes and the first does not."""
    pairs = {work.facts.path: (token, match) for work in group for token in work.names[-1].tokens
             if token.kind == Kind.COUNTER and (match := _PAIR.fullmatch(token.text))}
    seconds: dict[str, set[str]] = defaultdict(set)
    for _, match in pairs.values():
        seconds[match[1]].add(match[2])
    if all(len(numbers) == 1 for numbers in seconds.values()):
        return {}
    return {path: [Token(Kind.NUMBER, match[1], token.start)] for path, (token, match) in pairs.items()}


def _start_of_counter(work: Work) -> int:
    """The token at which the number begins that counts a file among captures; all tokens where none does."""
    tokens, left = work.names[-1].tokens, work.counter
    at = len(tokens)
    while left and at and (tokens[at - 1].kind == Kind.BREAK or left.endswith(tokens[at - 1].text)):
        at -= 1
        left = left.removesuffix(tokens[at].text)
    return at if work.counter and not left else len(tokens)


def _counts(name: Name, at: int, *, behind_purpose: bool) -> bool:
    """Whether a number counts captures or versions, or is a year, a day, a job: all but a series number, which stands
    behind the title or behind "no."; ``behind_purpose``: or behind a word for a purpose that is taken for the title."""
    text = name.tokens[at].text
    behind = [token for token in name.tokens[at + 1 :] if token.kind != Kind.BREAK]
    before = next((token for token in reversed(name.tokens[:at]) if token.kind != Kind.BREAK), None)
    if before and fold(before.text).strip(". ") in words.NUMERO:
        return False
    if len(text) > 2 or text.startswith("0") or before is None or before.role in CAPTURES:
        return True
    numbered = (behind_purpose and before.role) or (before.kind == Kind.WORD and not is_roman(before.text))
    return not behind or not numbered
