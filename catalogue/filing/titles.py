"""A piece's title out of a name: only what is surely no title is taken off, and only from the ends.

"Spider web", "The Final Harvest" and "The Print Room" keep their words: a word that shops also use for a file's purpose
is taken off only where something besides the word says so.
"""

import re
from collections.abc import Callable, Sequence
from collections.abc import Set as Collection
from dataclasses import dataclass
from functools import cached_property, lru_cache

from catalogue.filing import vocabulary as words
from catalogue.filing.folding import fold, without_umlauts
from catalogue.filing.names import WORDS, Name, is_letter
from catalogue.filing.symbols import is_roman
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
_PURPOSES = WORDS - {Kind.WORD}
_GIVEN_BY_DEVICES = words.DEVICE - words.UNTITLED


@dataclass(frozen=True)
class Title:
    """``text`` is empty if the name holds none. ``clean``: nothing doubtful was taken off.

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
    tokens, until = name.tokens, last
    while first <= last and tokens[last].kind == Kind.BREAK:
        last -= 1
    stripped: list[Token] = []
    tail: list[str] = []
    clean = True
    data: Sequence[Token] = ()
    if opens := _data_in_brackets(name, first, last, until):
        data, last = tokens[opens : until + 1], opens - 1
    known = None if proved else _known_beginning(name, first, last, is_title)
    if known is not None:
        stripped += tokens[known + 1 : last + 1]
        last = known
    while first <= last:
        token = tokens[last]
        plain = token.kind in SURE or token.kind in (Kind.BREAK, Kind.YEAR)
        if known is None and (plain or not proved) and _ends(token, name, first, last, stripped, is_title, small):
            clean = clean and (plain or token.text.casefold() in _ALWAYS)
            if token.kind in (Kind.YEAR, Kind.NUMBER):
                tail.insert(0, token.text)
            last -= 1
        else:
            token = tokens[first]
            if (proved and token.kind in _PURPOSES) or not _begins(token, name, first, last):
                break
            clean = clean and (token.kind in SURE or token.kind in (Kind.BREAK, Kind.YEAR))
            first += 1
        stripped.append(token)
    stripped += data
    year = size = number = ""
    for token in stripped:
        if token.kind in (Kind.YEAR, Kind.DATE):
            match = re.search(r"(?:18|19|20)\d\d", token.text)
            year = year or (match.group() if match else "")
        elif token.kind == Kind.SIZE:
            size = size or token.text
        elif token.kind == Kind.INVENTORY:
            number = number or re.sub(r"^\D*?[\s._#-]+", "", token.text)
    text = name.between(first, last) if _says_something(name, first, last, proved) else ""
    if not text and not any(t.kind == Kind.WORD for t in stripped):
        years = [t.text for t in (*stripped, *tokens[first : last + 1]) if t.kind == Kind.YEAR]
        text = next((y for y in years if y < "2000" or (proved and first == last)), "")  # "1974 - master"
        year = "" if text == year else year
    return Title(_balanced(text), clean, tuple(stripped), " ".join(tail), year, size, number)


def _data_in_brackets(name: Name, first: int, last: int, until: int) -> int:
    """The bracket that opens behind a title and holds a size among words and is closed at the end, as in "Harbour
    (2020, 40x50cm, oil)"; 0 if none does."""
    tokens = name.tokens
    opens = next((at for at in range(last, first, -1) if "(" in tokens[at].text and tokens[at].kind == Kind.BREAK), 0)
    inside = tokens[opens + 1 : last + 1]
    if until == last or ")" not in tokens[last + 1].text or not any(t.kind == Kind.SIZE for t in inside):
        return 0
    return opens


def _known_beginning(name: Name, first: int, last: int, is_title: Callable[[str], bool]) -> int | None:
    """The last token of a known title with which these tokens begin, if what follows is set off or says a file's
    purpose."""
    tokens = name.tokens
    if first <= last and not tokens[last].text.startswith("(") and is_title(title_key(name.between(first, last))):
        return last
    soft = numbers_or_soft = True  # whether all that follows may say what a file is for, or count
    for at in range(last, first, -1):
        following, before = tokens[at], tokens[at - 1]
        soft = soft and _is_soft(following)
        numbers_or_soft = numbers_or_soft and (following.kind == Kind.NUMBER or _is_soft(following))
        folded = following.text.casefold()
        if before.kind == Kind.BREAK or before.text.startswith("("):
            continue  # "Boats (3)" is the third of "Boats", not "Boats 3"
        if folded in words.FUNCTION and folded not in words.PURPOSE_LINKS:
            continue  # "Fyr vid Tryck" beside "Fyr"
        if following.kind == Kind.NUMBER or (following.kind in (Kind.WORD, Kind.YEAR) and not soft):
            continue
        if following.kind == Kind.BREAK and not numbers_or_soft and not any(
                t.kind in (Kind.ROLE, Kind.VERSION) or t.kind in SURE for t in tokens[at : min(at + 2, last + 1)]):
            continue
        if is_title(title_key(name.between(first, at - 1))):
            return at - 1
    return None


def _is_soft(token: Token) -> bool:
    """Whether a word by its meaning may say what a file is for, or where a capture lies."""
    if token.kind != Kind.WORD:
        return True
    folded = token.text.casefold()
    return folded in words.POSITION or (
        folded in words.FUNCTION and not (token.text.isupper() and is_roman(token.text)))


def _ends(token: Token, name: Name, first: int, last: int, stripped: list[Token], is_title: Callable[[str], bool],
          small: bool) -> bool:
    """Whether the last token is taken off."""
    if token.kind in SURE or token.kind == Kind.BREAK:
        return True
    if first == last:
        return (token.kind == Kind.VERSION and not token.text.isalpha()) or (token.kind == Kind.YEAR and bool(stripped))
    if token.kind == Kind.YEAR or (token.kind == Kind.VERSION and not token.text.isalpha()):
        return True
    before = name.tokens[last - 1]
    if token.kind == Kind.NUMBER:
        padded = len(token.text) > 1 and token.text.startswith("0")
        return (padded and is_title(title_key(name.between(first, last - 1)))) or len(token.text) >= 4
    if token.kind not in _PURPOSES or not _says_something(name, first, last - 1):
        return False  # "The Print"
    end = next(i for i in range(last - 1, -1, -1) if name.tokens[i].kind != Kind.BREAK)
    closing = name.tokens[end].text
    if closing.casefold() in words.FUNCTION and not (closing.isupper() and set(closing) <= set("IVX")):
        return False  # "Ombre et toile"; a Roman numeral ends titles
    if token.text.casefold() in _ALWAYS:
        return True
    plain = before.text == "_" and not any(t.spaced for t in name.tokens)  # here "_" is but a space
    if token.role == "reference" and not small and (plain or before.kind != Kind.BREAK):
        return False
    set_off = (
        (len(stripped) > 1 and stripped[-1].text == "-" and stripped[-2].kind == Kind.ROLE)  # "webb-liten"
        or before.kind in SURE
        or (before.kind == Kind.BREAK and (not plain or token.role == "reference"))
        or (not token.spaced and before.kind not in (Kind.WORD, Kind.BREAK)))
    loud = token.text.isupper() and len(token.text) > 2 and not name.tokens[first].text.isupper()
    beside = (token.kind == Kind.MATERIAL or token.role == "print file") and any(t.kind == Kind.SIZE for t in stripped)
    behind = next((t for t in reversed(stripped) if t.kind != Kind.BREAK), None)
    doubled = token.kind == Kind.VERSION and (  # "final FINAL"
        behind is not None and behind.kind == Kind.VERSION and behind.text.isalpha())
    return set_off or loud or doubled or beside or is_title(title_key(name.between(first, end)))


def _begins(token: Token, name: Name, first: int, last: int) -> bool:
    """Whether the first token is taken off."""
    if token.kind in SURE or token.kind == Kind.BREAK:
        return True
    if first == last:
        return False
    after = name.tokens[first + 1]
    if token.kind == Kind.YEAR:
        return True
    if token.kind == Kind.NUMBER:
        padded = len(token.text) > 1 and token.text.startswith("0")
        return padded or len(token.text) >= 4 or after.kind == Kind.BREAK
    if token.kind in _PURPOSES:  # "tirage A2 - Port du soir": up to the joint, no word
        held = name.tokens[first : last + 1]
        at = next((i for i, t in enumerate(held) if t.kind == Kind.BREAK), len(held))
        joint = held[at].text if at < len(held) else "-"
        spaces = joint == "_" and not any(t.spaced for t in name.tokens)  # here "_" is but a space
        return (joint != "-" and not spaces and _says_something(name, first + at, last)
                and any(t.kind == Kind.WORD and len(t.text) > 1 and not is_roman(t.text) for t in held[at:])
                and not any(t.kind in (Kind.WORD, Kind.NUMBER) for t in held[:at]))
    return (token.kind == Kind.WORD and after.kind == Kind.BREAK and "_" in after.text
            and token.text.casefold() in _GIVEN_BY_DEVICES)


def _says_something(name: Name, first: int, last: int, proved: bool = False) -> bool:
    """Whether there is a word of its own, and not one letter or joining words alone: "The Print Room" has one."""
    speaks = announced = number = False
    worded = proved
    for kind, text, *_ in name.tokens[first : last + 1]:
        if kind == Kind.BREAK or not (text[0].isalnum() or any(c.isalnum() for c in text)):
            continue
        folded = text.casefold()
        worded = worded or kind == Kind.WORD
        number = number or kind == Kind.NUMBER
        announced = announced or folded in words.NUMERO
        speaks = speaks or (kind in WORDS and not (folded in words.FUNCTION or is_letter(text)))
    return worded and (speaks or (announced and number))  # "No 7"


def _balanced(text: str) -> str:
    """Give back a bracket that was taken from an end though its fellow stayed: "[sold] Low Tide"."""
    for left, right in ("()", "[]", "{}"):
        if text.count(left) == text.count(right) + 1:
            text += right
        elif text.count(right) == text.count(left) + 1:
            text = left + text
    return text
