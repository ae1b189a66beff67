"""Numbers that count files or folders and are no part of a title: "41 Barques" among numbered folders,
"raw/Harbour_3"."""

import re
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from string import ascii_letters

from catalogue.filing.model import Work
from catalogue.filing.names import Name
from catalogue.filing.symbols import is_roman
from catalogue.filing.titles import title_key
from catalogue.filing.tokens import Kind, role_word

MOSTLY = 0.8  # share of sibling folders that must begin with a number
_COUNTER = re.compile(r"^(?P<base>.*?\w.*?)[\s_.(\-]+(?P<sign>[A-Za-z]{0,4} ?)?(?P<number>\d{1,3}|[a-h]|[A-H])\)?$")


def skip_running_numbers(works: Sequence[Work]) -> None:
    """If all folders beside a piece's folder begin with a number, the number is no part of their titles."""
    siblings: dict[tuple[str, ...], dict[str, bool]] = defaultdict(dict)
    for work in works:
        if work.folder is not None:
            name = work.names[work.folder]
            siblings[work.parts[: work.folder]][name.text] = _is_numbered(name)
    cousins: dict[tuple[str, ...], list[bool]] = defaultdict(list)
    for shelf, names in siblings.items():
        cousins[shelf[:-1]] += names.values()
    for work in works:
        if work.folder is not None:
            beside = siblings[work.parts[: work.folder]]
            if work.names[work.folder].text in beside and _is_numbered(work.names[work.folder]):
                level = list(beside.values()) if len(beside) >= 3 else cousins[work.parts[: work.folder][:-1]]
                if len(level) >= 3 and sum(level) >= MOSTLY * len(level):
                    work.skip = 1


def _is_numbered(name: Name) -> bool:
    kinds = [t.kind for t in name.spoken]
    return len(kinds) > 1 and kinds[0] == Kind.NUMBER and Kind.WORD in kinds


def take_off_counters(works: Sequence[Work]) -> None:
    """Captures counted behind their title ("bits/Harbour 3") are of the piece without the number, where that piece is
    known or they count from one."""
    known: dict[str, dict[str, set[tuple[str, ...]]]] = defaultdict(lambda: defaultdict(set))
    numbered: dict[str, set[str]] = defaultdict(set)  # by artist: titles behind which a name goes on
    titled: dict[tuple[str, ...], int] = defaultdict(int)
    with_number: dict[tuple[str, ...], int] = defaultdict(int)
    counted: dict[tuple[tuple[str, ...], str, str], list[tuple[Work, str, str]]] = defaultdict(list)
    numbers: list[tuple[Work, re.Match[str]]] = []
    for work in works:
        title = work.title
        if title is None or not title.text:
            continue
        match = _COUNTER.match(title.text)
        titled[work.parts[:-1]] += 1
        if not _is_last(work):
            numbered[work.artist_key].add(title.key)
        if match and title.key != work.folder_title and _is_last(work):
            numbers.append((work, match))
            with_number[work.parts[:-1]] += 1
        known[work.artist_key][title.key].add(work.parts[:-1])
        if work.folder_title:
            known[work.artist_key][work.folder_title].add(())
    words = _find_counting_words(match for _, match in numbers)
    for work, match in numbers:
        base, sign = match["base"], (match["sign"] or "").strip()
        if is_roman(sign.upper()) or _is_of_title(match, known[work.artist_key], words):
            base, sign = match.string[: match.end("sign")].rstrip(), ""  # "Moor VII_1" is a capture of "Moor VII"
        counted[work.parts[:-1], work.artist_key, title_key(base)].append((work, base, sign + match["number"]))
    for (folder, artist, base), members in counted.items():
        known_folders = known[artist][base]
        codes = {code for _, _, code in members}
        as_captures = any(t.role in ("raw", "tile") for name in members[0][0].names[:-1][-1:] for t in name.tokens) or (
            members[0][0].kinds[-1:] == "p" and with_number[folder] >= 0.5 * titled[folder])
        if (as_captures and (known_folders or _count_from_one(codes))) or (
            folder in known_folders and _count_from_one(codes) and (
                not any(code.isdigit() for code in codes) or any(len(c) > 1 and c.startswith("0") for c in codes))
        ):
            for work, text, code in members:
                assert work.title is not None
                if work.title.key in numbered[artist]:
                    continue  # other files show that the number belongs to the title
                work.title = replace(work.title, text=text, tail=code)
                work.counter = code


def _is_of_title(match: re.Match[str], known: Collection[str], words: Collection[str]) -> bool:
    """Whether the short word before a number is the title's last, as in "The Old Boat_1", and counts nothing. ``known``
    are the artist's titles, ``words`` those that count captures."""
    sign = match["sign"] or ""
    return sign.endswith(" ") and (title_key(match.string[: match.end("sign")]) in known or (
        sign.strip().casefold() not in words and title_key(match["base"]) not in known))


def _find_counting_words(matches: Iterable[re.Match[str]]) -> frozenset[str]:
    """Short words, casefolded, before the last number of titles, that count captures: known as such, or met behind
    several titles ("Harbour osa 1", "Two Boats osa 1")."""
    behind: dict[str, set[str]] = defaultdict(set)
    for match in matches:
        if (match["sign"] or "").endswith(" "):
            behind[match["sign"].strip().casefold()].add(title_key(match["base"]))
    return frozenset(word for word, bases in behind.items() if len(bases) > 1 or role_word(word))


def _count_from_one(codes: Iterable[str]) -> bool:
    """Whether codes count captures: from one on, or as rows and columns ("A1", "B2")."""
    given = list(codes)
    values = sorted({int(digits) if (digits := c.lstrip(ascii_letters)) else ord(c[-1].lower()) - ord("a") + 1
                     for c in given})
    return len(given) > 1 and values[0] in (0, 1) and values[-1] - values[0] < 2 * len(given)


def _is_last(work: Work) -> bool:
    """Whether nothing follows the title in the file's name."""
    return all(t.kind == Kind.BREAK for t in work.names[-1].tokens[work.last + 1 :])
