"""A piece's title out of a name: only what is surely no title is taken off, and only from the ends.

"Spider web", "The Final Harvest" and "The Print Room" keep their words: a word that shops also use for a file's purpose
is taken off only where something besides the word says so.
"""

import re
from collections.abc import Callable
from collections.abc import Set as Collection
from dataclasses import dataclass
from functools import cached_property, lru_cache

from catalogue.filing import vocabulary as words
from catalogue.filing.endings import is_roman
from catalogue.filing.folding import fold, without_umlauts
from catalogue.filing.names import Name
from catalogue.filing.tokens import SURE, Kind, Token, role_word

# Role words that no title ends in, so that they need no further reason.
_ALWAYS = frozenset(
    """
    master masters stitched re-scan rescan rescans forprint for-print printready print-ready printfile
    printfiles druckdatei druckdateien druckfertig tryckfil tile tiles kachel kacheln teilscan teilscans tuile
    tuiles lowres low-res hires hi-res highres fullres thumb thumbnail vorschau aperçu förhandsvisning 印刷用 入稿 印刷
    原本 合成 タイル スキャン rohscan ihopsatt hopsatt zusammengesetzt assemblé assemblée montado resaved retouched
    retuschiert corrigé corregido finalfinal endfassung scan scans skan numérisation コピー 最終
""".split()
)


@dataclass(frozen=True)
class Title:
    """``text`` is empty where the name holds none. ``clean``: nothing doubtful was taken off.

    ``stripped`` holds the tokens that were taken off; ``tail`` the year or number among them that may tell two pieces
    apart.
    """

    text: str
    clean: bool
    stripped: tuple[Token, ...]
    tail: str = ""
    year: str = ""
    size: str = ""
    number: str = ""

    @cached_property
    def key(self) -> str:
        """As it is compared."""
        return title_key(self.text)

    @cached_property
    def role(self) -> tuple[str, str]:
        """The purpose that words beside the title state, and the word; "master" outweighs a counter ("1 of 6
        [master]")."""
        roles = [t for t in self.stripped if t.kind == Kind.ROLE]
        for role in ("tile", "print file", "reference", "master"):
            for token in roles:
                if token.role == role:
                    return role, token.text
        for token in self.stripped:
            if token.kind == Kind.COUNTER and not token.text.lstrip().startswith("("):
                return "tile", token.text
        return next((("raw", t.text) for t in roles if t.role == "raw"), ("", ""))

    @cached_property
    def words_beside(self) -> dict[str, str]:
        """Folded words of no known purpose that were taken off, with how they are written."""
        return {fold(t.text): t.text for t in self.stripped if t.kind == Kind.WORD}


@lru_cache(maxsize=500_000)
def title_key(text: str) -> str:
    """A title as compared within one artist: folded, and without spaces, so that "LowTide" is "Low Tide"."""
    return without_umlauts(fold(text)).replace(" ", "")


def says_only_purpose(title: str, explained: Collection[str]) -> bool:
    """Whether a title has no word but those that say what a file is for, or when it was made: "file di stampa"."""
    return all((len(word) < 3 and word.isascii()) or word.isdigit() or role_word(word) or word in explained
               or word in words.DEVICE or word in words.FUNCTION or word in words.VERSION
               for word in fold(title).split())


def read_title(
    name: Name,
    first: int,
    last: int,
    *,
    is_title: Callable[[str], bool] = frozenset[str]().__contains__,
    small: bool = False,
    proved: bool = False,
) -> Title:
    """The title in tokens ``first`` to ``last`` inclusive of a name.

    ``is_title(key)`` says whether a key is known as a title nearby, ``small`` whether the picture is one for the web,
    ``proved`` that words for purposes among the tokens belong to the title.
    """
    while first <= last and name.tokens[last].kind == Kind.BREAK:
        last -= 1
    held = list(range(first, last + 1))
    stripped: list[Token] = []
    clean = True
    year = size = number = ""
    tail: list[str] = []
    at = None if proved else _known_beginning(name, held, is_title)
    if at is not None:
        stripped = [name.tokens[i] for i in held[at:]]
        held = held[:at]
    changed = True
    while changed and held:
        changed = False
        token = name.tokens[held[-1]]
        if at is None and (not proved or token.kind in SURE or token.kind in (Kind.BREAK, Kind.YEAR)) and _ends(
            token, name, held, stripped, is_title, small
        ):
            clean = clean and (token.kind in SURE or token.kind in (Kind.BREAK, Kind.YEAR)
                               or token.text.casefold() in _ALWAYS)
            if token.kind in (Kind.YEAR, Kind.NUMBER):
                tail.insert(0, token.text)
            held.pop()
            stripped.append(token)
            changed = True
            continue
        token = name.tokens[held[0]]
        if (not proved or token.kind not in (Kind.ROLE, Kind.VERSION, Kind.MATERIAL)) and _begins(token, name, held):
            clean = clean and (token.kind in SURE or token.kind in (Kind.BREAK, Kind.YEAR))
            held.pop(0)
            stripped.append(token)
            changed = True
    for token in stripped:
        if token.kind in (Kind.YEAR, Kind.DATE):
            year = year or _year_in(token.text)
        elif token.kind == Kind.SIZE:
            size = size or token.text
        elif token.kind == Kind.INVENTORY:
            number = number or re.sub(r"^\D*?[\s._#-]+", "", token.text)
    text = name.between(held[0], held[-1]) if held and _says_something(name, held, proved) else ""
    if not text and not any(t.kind == Kind.WORD for t in stripped):
        years = [t.text for t in (*stripped, *(name.tokens[i] for i in held)) if t.kind == Kind.YEAR]
        text = next((y for y in years if y < "2000" or (proved and len(held) == 1)), "")  # "1974 - master"
        year = "" if text == year else year
    return Title(_balanced(text), clean, tuple(stripped), " ".join(tail), year, size, number)


def _known_beginning(name: Name, held: list[int], is_title: Callable[[str], bool]) -> int | None:
    """Where a known title ends that these tokens begin with, if what follows is set off or says a file's purpose."""
    if held and not name.tokens[held[-1]].text.startswith("(") and is_title(title_key(name.between(held[0], held[-1]))):
        return len(held)
    for at in range(len(held) - 1, 0, -1):
        following = name.tokens[held[at]]
        if name.tokens[held[at - 1]].kind == Kind.BREAK or name.tokens[held[at - 1]].text.startswith("("):
            continue  # "Boats (3)" is the third of "Boats", not "Boats 3"
        if following.text.casefold() in words.FUNCTION and following.text.casefold() not in words.PURPOSE_LINKS:
            continue  # "Fyr vid Tryck" beside "Fyr"
        if following.kind in (Kind.WORD, Kind.NUMBER, Kind.YEAR) and not all(
            _is_soft(name.tokens[i]) for i in held[at:]
        ):
            continue
        if following.kind == Kind.NUMBER:
            continue
        if (
            following.kind == Kind.BREAK
            and not all(name.tokens[i].kind == Kind.NUMBER or _is_soft(name.tokens[i]) for i in held[at:])
            and not any(
                name.tokens[i].kind in (Kind.ROLE, Kind.VERSION) or name.tokens[i].kind in SURE
                for i in held[at : at + 2]
            )
        ):
            continue
        if is_title(title_key(name.between(held[0], held[at - 1]))):
            return at
    return None


def _is_soft(token: Token) -> bool:
    """Whether a word by its meaning may say what a file is for, or where a capture lies."""
    folded = token.text.casefold()
    return (
        token.kind != Kind.WORD
        or folded in words.POSITION
        or (folded in words.FUNCTION and not (token.text.isupper() and is_roman(token.text)))
    )


def _is_own(token: Token) -> bool:
    """A word that can be a title by itself, other than "II"."""
    return token.kind == Kind.WORD and len(token.text) > 1 and not is_roman(token.text)


def _joins(text: str) -> bool:
    """Whether no title ends in this word, as in "Ombre et"; a Roman numeral may."""
    return text.casefold() in words.FUNCTION and not (text.isupper() and set(text) <= set("IVX"))


def _ends(
    token: Token, name: Name, held: list[int], stripped: list[Token], is_title: Callable[[str], bool], small: bool
) -> bool:
    """Whether the last token is taken off."""
    if token.kind in SURE or token.kind == Kind.BREAK:
        return True
    if len(held) == 1:
        return (token.kind == Kind.VERSION and not token.text.isalpha()) or (token.kind == Kind.YEAR and bool(stripped))
    if token.kind == Kind.YEAR:
        return True
    before = name.tokens[held[-2]]
    if token.kind == Kind.NUMBER:
        padded = len(token.text) > 1 and token.text.startswith("0")
        return (padded and is_title(title_key(name.between(held[0], held[-2])))) or len(token.text) >= 4
    if token.kind == Kind.VERSION and not token.text.isalpha():
        return True
    if token.kind not in (Kind.ROLE, Kind.VERSION, Kind.MATERIAL):
        return False
    rest = [i for i in held[:-1] if name.tokens[i].kind != Kind.BREAK]
    if not _says_something(name, rest) or _joins(name.tokens[rest[-1]].text):
        return False  # "The Print", "Ombre et toile"
    folded = token.text.casefold()
    if folded in _ALWAYS:
        return True
    plain = before.text == "_" and not any(t.spaced for t in name.tokens)  # here "_" is but a space
    if token.role == "reference" and not small and (plain or before.kind != Kind.BREAK):
        return False
    chained = len(stripped) > 1 and stripped[-1].text == "-" and stripped[-2].kind == Kind.ROLE  # "webb-liten"
    set_off = (
        chained
        or before.kind in SURE
        or (before.kind == Kind.BREAK and (not plain or token.role == "reference"))
        or (not token.spaced and before.kind not in (Kind.WORD, Kind.BREAK))
    )
    loud = token.text.isupper() and len(token.text) > 2 and not name.tokens[held[0]].text.isupper()
    beside = (token.kind == Kind.MATERIAL or token.role == "print file") and any(t.kind == Kind.SIZE for t in stripped)
    return set_off or loud or beside or is_title(title_key(name.between(held[0], rest[-1])))


def _begins(token: Token, name: Name, held: list[int]) -> bool:
    """Whether the first token is taken off."""
    if token.kind in SURE or token.kind == Kind.BREAK:
        return True
    if len(held) == 1:
        return False
    after = name.tokens[held[1]]
    if token.kind == Kind.YEAR:
        return True
    if token.kind == Kind.NUMBER:
        return (
            (len(token.text) > 1 and token.text.startswith("0")) or len(token.text) >= 4 or after.kind == Kind.BREAK
        )
    if token.kind in (Kind.ROLE, Kind.VERSION, Kind.MATERIAL):  # "tirage A2 - Port du soir": up to the joint, no word
        at = next((k for k, i in enumerate(held) if name.tokens[i].kind == Kind.BREAK), len(held))
        joint = name.tokens[held[at]].text if at < len(held) else "-"
        spaces = joint == "_" and not any(t.spaced for t in name.tokens)  # here "_" is but a space
        return (
            joint != "-"
            and not spaces
            and any(_is_own(name.tokens[i]) for i in held[at:])
            and _says_something(name, held[at:])
            and not any(name.tokens[i].kind in (Kind.WORD, Kind.NUMBER) for i in held[:at])
        )
    return (
        token.text.casefold() in words.DEVICE - words.UNTITLED
        and token.kind == Kind.WORD
        and after.kind == Kind.BREAK
        and "_" in after.text
    )


def _says_something(name: Name, held: list[int], proved: bool = False) -> bool:
    """Whether there is a word of its own, and not one letter or joining words alone: "The Print Room" has one."""
    said = [t for t in (name.tokens[i] for i in held) if t.kind != Kind.BREAK and any(c.isalnum() for c in t.text)]
    if not any(t.kind == Kind.WORD for t in said) and not proved:
        return False
    if any(t.text.casefold() in words.NUMERO for t in said) and any(t.kind == Kind.NUMBER for t in said):
        return True  # "No 7"
    return any(
        t.kind in (Kind.WORD, Kind.ROLE, Kind.VERSION, Kind.MATERIAL)
        and not (t.text.casefold() in words.FUNCTION or (len(t.text) == 1 and t.text.isascii()))
        for t in said
    )


def _year_in(text: str) -> str:
    match = re.search(r"(?:18|19|20)\d\d", text)
    return match.group() if match else ""


def _balanced(text: str) -> str:
    """Give back a bracket that was taken from the end though its fellow stayed."""
    for left, right in ("()", "[]", "{}"):
        if text.count(left) == text.count(right) + 1:
            text += right
    return text
