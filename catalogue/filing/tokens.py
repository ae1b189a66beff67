"""One file or folder name taken apart: which stretches are surely no title, and which words are left.

What is *surely* no title is told by its form alone (a size, a date, a resolution, a tile counter); a word such as
"print" or "final" may belong to a title and is only marked.
"""

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

from catalogue.filing import vocabulary as words


class Kind(StrEnum):
    WORD = "word"
    ROLE = "role word"  # print, web, tile, raw, master in any language
    VERSION = "version"  # final, v2, copy, (1)
    MATERIAL = "material"  # paper and canvas words, weights
    SIZE = "size"
    RESOLUTION = "resolution"
    COLOUR = "colour"  # bits, profiles
    DATE = "date"
    YEAR = "year"
    COUNTER = "counter"  # "2 of 6", "r1c2", "tile 3"
    INVENTORY = "inventory number"
    JOB = "job number"
    NUMBER = "number"
    BREAK = "break"  # " - ", "_", ",", brackets: where a name has its joints


# Never part of a title, whatever stands beside them.
SURE = frozenset({Kind.SIZE, Kind.RESOLUTION, Kind.COLOUR, Kind.DATE, Kind.COUNTER, Kind.INVENTORY, Kind.JOB})


@dataclass(frozen=True, slots=True)
class Token:
    """A stretch of a name. ``role`` is what a role word stands for; ``spaced`` says whether a plain space precedes."""

    kind: Kind
    text: str
    start: int
    role: str = ""
    spaced: bool = False

    @property
    def end(self) -> int:
        """Where it ends in the name."""
        return self.start + len(self.text)


_UNIT = r"(?:mm|cm|in|inch|inches|zoll|pouces|tum|\"|″|”|'')"
_LENGTH = rf"\d{{1,4}}(?:[.,]\d{{1,2}})?\s?{_UNIT}?"
_END = r"(?![^\W_])"
_TILE_WORD = (
    r"(?:tile|teil|teilscan|kachel|tuile|ruta|del|delskanning|tesela|trozo|parte|partie|part|deel|toma|aufnahme|opname|capture|タイル|分割)"
)
_OF = r"(?:of|von|van|de|di|af|av|sur|aus|/)"
_NO_CODE = r"(?:img|dsc[fn]?|scan|scn|pict?|foto|bild|file|page|tile|raw|cci|ccf|pano|test|copy|part|teil|del|osa)"
_OF_FEW = "|".join(rf"{i}[-/]{n}" for n in range(9, 1, -1) for i in range(n, 0, -1))  # "2-4"
_PATTERNS = (
    (
        Kind.INVENTORY,
        rf"(?:inv(?:entar|\.-?nr|entory)?(?:\s?(?:no|nr|n°|nº|num)\.?)?|n° inv)[\s._#-]*[a-z]*\d[\w-]*{_END}",
    ),
    (
        Kind.JOB,
        rf"(?:job|order|auftrag|auftr|bestellung|commande|cde|pedido|beställning|best|ordernr|rechnung|rg|facture|"
        rf"fact|faktura|factura|invoice|kundennr|注文)[\s._#-]*(?:no|nr|n°|nº)?[\s._#-]*\d[\d/-]*{_END}",
    ),
    (Kind.DATE, rf"(?:19|20)\d\d(?P<ymd>[-_. ]?)(?:0[1-9]|1[0-2])(?P=ymd)(?:0[1-9]|[12]\d|3[01]){_END}"),
    (Kind.DATE, rf"(?:0?[1-9]|[12]\d|3[01])(?P<dmy>[-.])(?:0?[1-9]|1[0-2])(?P=dmy)(?:(?:19|20)\d\d|\d\d){_END}"),
    (Kind.DATE, rf"(?:19|20)\d\d[-_.](?:0[1-9]|1[0-2])(?!-?\d){_END}"),
    (Kind.DATE, r"(?:19|20)\d\d年(?:\d{1,2}月)?(?:\d{1,2}日)?"),
    (Kind.JOB, rf"[a-z]{{0,3}}(?:19|20)?\d\d[-_]\d{{2,5}}(?!\s?{_UNIT}?\s?[x×]){_END}"),
    (Kind.INVENTORY, rf"(?!{_NO_CODE})(?-i:[A-ZÀ-Þ])[^\W\d_]{{0,3}}\d{{3,6}}{_END}"),  # "BC0322"
    (Kind.SIZE, rf"{_LENGTH}\s?[x×*]\s?{_LENGTH}(?:\s?[x×*]\s?{_LENGTH})?{_END}"),
    (Kind.SIZE, rf"\d{{1,4}}(?:[.,]\d{{1,2}})?\s?(?:mm|cm|inch|inches|zoll|tum){_END}"),
    (Kind.SIZE, rf"\d{{1,3}}(?:in|\"|″){_END}"),
    (Kind.SIZE, rf"(?:din[\s-]?)?a[0-6](?:\+|\s?(?:quer|hoch|landscape|portrait))?{_END}"),
    (Kind.SIZE, rf"\d{{3,5}}\s?(?:px|pix|pixels?){_END}"),
    (Kind.RESOLUTION, rf"\d{{2,4}}\s?(?:dpi|ppi|ppp){_END}"),
    (Kind.COLOUR, rf"(?:8|16|32)[\s-]?bits?{_END}"),
    (Kind.COLOUR, rf"(?:adobe\s?rgb(?:\s?\(?1998\)?)?|prophoto(?:\s?rgb)?|eci\s?rgb(?:\s?v2)?|srgb|cmyk){_END}"),
    (Kind.MATERIAL, rf"\d{{2,3}}\s?(?:g|gsm|gr|g/m2|g/m²){_END}"),
    (Kind.COUNTER, rf"r\d{{1,2}}[\s_-]?c\d{{1,2}}{_END}"),
    (Kind.COUNTER, rf"{_TILE_WORD}[\s._#-]*\d{{1,3}}(?:(?:\s*{_OF}\s*|-)\d{{1,3}})?{_END}"),
    (Kind.COUNTER, rf"t\d{{2,3}}{_END}"),
    (Kind.COUNTER, rf"\(?\d{{1,3}}\s*[-_ ]?(?:of|von|van|di|af|av|sur|aus)[-_ ]?\s*\d{{1,3}}\)?{_END}"),
    (Kind.COUNTER, rf"(?:{_OF_FEW})(?![-/\d]){_END}"),
    (Kind.COUNTER, r"\(\s*(?:of|von|av|sur|de|/)\s*\d{1,3}\s*\)"),
    (Kind.VERSION, rf"(?:(?-i:V)\.?|(?-i:v)[._ ]?|(?:ver|version|rev)[._ ]?)\d{{1,2}}{_END}"),
    (Kind.VERSION, r"\(\d{1,2}\)"),
    (Kind.YEAR, rf"(?:18|19|20)\d\d{_END}"),
    (Kind.NUMBER, rf"\d+{_END}"),
)
# All in one, in their order: the name of the group that matched tells which. Back references are named.
_ANY = re.compile("|".join(f"(?P<k{n}>{pattern})" for n, (_, pattern) in enumerate(_PATTERNS)), re.IGNORECASE)
_NO_DIGIT = frozenset({"ado", "pro", "eci", "srg", "cmy"})  # how those begin that need no digit
REACH = 24  # characters from a pattern's first letter to its first digit, at most
_BREAK = re.compile(r"\s+[-–—]+\s+|__+|[_,;()\[\]{}+&（）【】「」『』、・〔〕［］]+|\s+[-–—]|[-–—]\s+")
_JOINT = re.compile(r"[-–—.]+")
_SPACE = re.compile(r"\s+")
_WORD = re.compile(r"[^\W\d_]+(?:['’.][^\W\d_]+)*\.?|[^\W_]+|\S")
_DIGIT = re.compile(r"\d")
_PAIR = re.compile(r"(\d)([-/])(\d)")
_WEIGHT = re.compile(r"\d{2,3}(?:g|gsm|gr)")
_BY_WORD = tuple(
    (role, vocabulary)
    for role, vocabulary in (
        ("print file", words.PRINT),
        ("reference", words.REFERENCE),
        ("tile", words.TILE),
        ("raw", words.RAW),
        ("master", words.MASTER),
    )
)


@lru_cache(maxsize=200_000)
def role_word(text: str) -> str:
    """``"print file"``, ``"reference"``, ``"tile"``, ``"raw"`` or ``"master"`` for a word that says so, else ``""``."""
    folded = text.casefold()
    return (
        next((role for role, vocabulary in _BY_WORD if folded in vocabulary), "")
        or next(
            (
                role
                for role, beginnings in words.COMPOUNDS.items()
                if len(folded) > 7 and folded.startswith(beginnings)
            ),
            "",
        )
        or (
            ""
            if text.isascii()
            else next((role for role, parts in words.CONTAINED.items() if any(p in text for p in parts)), "")
        )
    )


def tokens(name: str) -> list[Token]:
    """A file's stem or a folder's name as tokens, in order; camel case is taken apart ("LowTide" is two words)."""
    text = unicodedata.normalize("NFC", name)
    return list(_numbered(_merged(_scan(text))))


def _numbered(name_tokens: Iterator[Token]) -> Iterator[Token]:
    """The "2-1" of "no. 2-1" as a number and a counter: the first is the number that "no." announces."""
    before = ""
    for token in name_tokens:
        pair = _PAIR.fullmatch(token.text) if token.kind is Kind.COUNTER and before in words.NUMERO else None
        if pair:
            yield Token(Kind.NUMBER, pair[1], token.start, spaced=token.spaced)
            yield Token(Kind.BREAK, pair[2], token.start + len(pair[1]))
            yield Token(Kind.NUMBER, pair[3], token.start + len(pair[1]) + len(pair[2]))
        else:
            yield token
        if token.kind is not Kind.BREAK:
            before = token.text.casefold().strip(".")


def _scan(text: str) -> Iterator[Token]:
    at, spaced, within = 0, False, False  # within: directly behind a letter or digit, where no pattern may begin
    last_digit = max((i for i, sign in enumerate(text) if sign.isdigit()), default=-1)
    begins_without_digit = any(start in text.casefold() for start in _NO_DIGIT)
    while at < len(text):
        may_match = not within and (at <= last_digit or begins_without_digit)
        if may_match and (match := _match(text, at)):
            kind, end = match
            yield Token(kind, text[at:end], at, spaced=spaced)
            at, spaced, within = end, False, False
            continue
        if gap := _BREAK.match(text, at):
            yield Token(Kind.BREAK, gap.group(), at)
            at, spaced, within = gap.end(), False, False
        elif gap := _SPACE.match(text, at):
            at, spaced, within = gap.end(), True, False
        elif (gap := _JOINT.match(text, at)) and at:
            yield Token(Kind.BREAK, gap.group(), at)
            at, spaced, within = gap.end(), False, False
        else:
            word = _WORD.match(text, at)
            end = word.end() if word else at + 1
            yield from _words(text[at:end], at, spaced)
            at, spaced = end, False
            within = end < len(text) and text[end].isalnum()


def _match(text: str, at: int) -> tuple[Kind, int] | None:
    if text[at].isalpha() and not _DIGIT.search(text, at, at + REACH) and text[at : at + 3].casefold() not in _NO_DIGIT:
        return None
    match = _ANY.match(text, at)
    if match is None or match.end() == at or match.lastgroup is None:
        return None
    return _PATTERNS[int(match.lastgroup[1:])][0], match.end()


def _words(text: str, start: int, spaced: bool) -> Iterator[Token]:
    for kind, part, role in _word_parts(text):
        yield Token(kind, part, start, role, spaced)
        start, spaced = start + len(part), False


@lru_cache(maxsize=200_000)
def _word_parts(text: str) -> tuple[tuple[Kind, str, str], ...]:
    """The words of a stretch without joints, each with its kind and role."""
    return tuple((Kind.ROLE if (role := role_word(part)) else _kind_of(part.casefold()), part, role)
                 for part in _camel_parts(text))


def _camel_parts(text: str) -> Iterator[str]:
    """ "LowTide" as "Low", "Tide"."""
    start = 0
    if not (text.islower() or text.isupper() or text.istitle()):
        for at in range(1, len(text)):
            if text[at].isupper() and text[at - 1].islower():
                yield text[start:at]
                start = at
    yield text[start:]


@lru_cache(maxsize=200_000)
def _kind_of(word: str) -> Kind:
    if _WEIGHT.fullmatch(word):
        return Kind.MATERIAL
    for kind, vocabulary in (
        (Kind.VERSION, words.VERSION),
        (Kind.MATERIAL, words.MATERIAL),
        (Kind.COLOUR, words.COLOUR),
    ):
        if word in vocabulary:
            return kind
    return Kind.WORD


@lru_cache(maxsize=50_000)
def _role_of_pair(text: str) -> str:
    folded = text.casefold()
    return next((role for role, vocabulary in _BY_WORD if folded in vocabulary), "")


def _merged(name_tokens: Iterator[Token]) -> Iterator[Token]:
    """Words of two parts that mean one thing: "re-scan", "for print", "low res", "fine art"."""
    pending: list[Token] = []
    for token in name_tokens:
        pending.append(token)
        while len(pending) >= 3:
            plain = pending[1].kind is Kind.BREAK and pending[1].text == "-"
            role = _role_of_pair(pending[0].text + pending[2].text) if plain else ""
            if role:
                pending[:3] = [
                    Token(
                        Kind.ROLE, f"{pending[0].text}-{pending[2].text}", pending[0].start, role, pending[0].spaced
                    )
                ]
            else:
                yield pending.pop(0)
    yield from pending
