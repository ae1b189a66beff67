"""One file or folder name as tokens: what is certainly no title, and which words are left.

What is *certainly* no title is recognised by form alone (a size, a date, a resolution, a tile counter); a word such as
"print" or "final" may belong to a title and is only marked.
"""

import re
from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import Final, NamedTuple

from catalogue.filing import vocabulary as words


class Kind:
    """What a stretch of a name is. Plain texts, since a member of an Enum takes four times as long to look up."""

    WORD: Final = "word"
    ROLE: Final = "role word"  # print, web, tile, raw, master in any language
    VERSION: Final = "version"  # final, v2, copy, (1)
    MATERIAL: Final = "material"  # paper and canvas words, weights
    SIZE: Final = "size"
    RESOLUTION: Final = "resolution"
    COLOUR: Final = "colour"  # bits, profiles
    DATE: Final = "date"
    YEAR: Final = "year"
    COUNTER: Final = "counter"  # "2 of 6", "r1c2", "tile 3"
    INVENTORY: Final = "inventory number"
    JOB: Final = "job number"
    NUMBER: Final = "number"
    BREAK: Final = "break"  # " - ", "_", ",", brackets: where a name has its joints


# Never part of a title, whatever stands beside them.
SURE = frozenset({Kind.SIZE, Kind.RESOLUTION, Kind.COLOUR, Kind.DATE, Kind.COUNTER, Kind.INVENTORY, Kind.JOB})


class Token(NamedTuple):
    """A stretch of a name. ``role`` is what a role word stands for; ``spaced`` says whether a plain space precedes."""

    kind: str
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
_TILE_WORDS = ("tile teil teilscan kachel tuile ruta del delskanning tesela trozo parte partie part deel toma "
               "aufnahme opname capture タイル 分割").split()
_JOB_WORDS = ("job order auftrag auftr bestellung commande cde pedido beställning best ordernr rechnung rg facture "
              "fact faktura factura invoice kundennr 注文").split()
_OF = r"(?:of|von|van|de|di|af|av|sur|aus|/)"
_NO_CODE = r"(?:img|dsc[fn]?|scan|scn|pict?|foto|bild|file|page|tile|raw|cci|ccf|pano|test|copy|part|teil|del|osa)"
_OF_FEW = "|".join(f"{i}[-/][{max(i, 2)}-9]" for i in range(1, 10))  # "2-4"
# Kind, the sign it begins with (a letter, 0 digit, bracket), pattern.
_PATTERNS = (
    (Kind.INVENTORY, "a",
     rf"(?:inv(?:entar|\.-?nr|entory)?(?:\s?(?:no|nr|n°|nº|num)\.?)?|n° inv)[\s._#-]*[a-z]*\d[\w-]*{_END}"),
    (Kind.JOB, "a", rf"(?:{'|'.join(_JOB_WORDS)})[\s._#-]*(?:no|nr|n°|nº)?[\s._#-]*\d[\d/-]*{_END}"),
    (Kind.DATE, "0", rf"(?:19|20)\d\d(?P<ymd>[-_. ]?)(?:0[1-9]|1[0-2])(?P=ymd)(?:0[1-9]|[12]\d|3[01]){_END}"),
    (Kind.DATE, "0", rf"(?:0?[1-9]|[12]\d|3[01])(?P<dmy>[-.])(?:0?[1-9]|1[0-2])(?P=dmy)(?:(?:19|20)\d\d|\d\d){_END}"),
    (Kind.DATE, "0", rf"(?:19|20)\d\d[-_.](?:0[1-9]|1[0-2])(?!-?\d){_END}"),
    (Kind.DATE, "0", r"(?:19|20)\d\d年(?:\d{1,2}月)?(?:\d{1,2}日)?"),
    (Kind.JOB, "a0", rf"[a-z]{{0,3}}(?:19|20)?\d\d[-_]\d{{2,5}}(?!\s?{_UNIT}?\s?[x×]){_END}"),
    (Kind.INVENTORY, "a", rf"(?!{_NO_CODE})(?-i:[A-ZÀ-Þ])[^\W\d_]{{0,3}}\d{{3,6}}{_END}"),  # "BC0322"
    (Kind.SIZE, "0", rf"{_LENGTH}\s?[x×*]\s?{_LENGTH}(?:\s?[x×*]\s?{_LENGTH})?{_END}"),
    (Kind.SIZE, "0", rf"\d{{1,4}}(?:[.,]\d{{1,2}})?\s?(?:mm|cm|inch|inches|zoll|tum){_END}"),
    (Kind.SIZE, "0", rf"\d{{1,3}}(?:in|\"|″){_END}"),
    (Kind.SIZE, "a", rf"(?:din[\s-]?)?a[0-6](?:\+|\s?(?:quer|hoch|landscape|portrait))?{_END}"),
    (Kind.SIZE, "0", rf"\d{{3,5}}\s?(?:px|pix|pixels?){_END}"),
    (Kind.RESOLUTION, "0", rf"\d{{2,4}}\s?(?:dpi|ppi|ppp){_END}"),
    (Kind.COLOUR, "0", rf"(?:8|16|32)[\s-]?bits?{_END}"),
    (Kind.COLOUR, "a", rf"(?:adobe\s?rgb(?:\s?\(?1998\)?)?|prophoto(?:\s?rgb)?|eci\s?rgb(?:\s?v2)?|srgb|cmyk){_END}"),
    (Kind.MATERIAL, "0", rf"\d{{2,3}}\s?(?:g|gsm|gr|g/m2|g/m²){_END}"),
    (Kind.COUNTER, "a", rf"r\d{{1,2}}[\s_-]?c\d{{1,2}}{_END}"),
    (Kind.COUNTER, "a", rf"(?:{'|'.join(_TILE_WORDS)})[\s._#-]*\d{{1,3}}(?:(?:\s*{_OF}\s*|-)\d{{1,3}})?{_END}"),
    (Kind.COUNTER, "a", rf"t\d{{2,3}}{_END}"),
    (Kind.COUNTER, "0(", rf"\(?\d{{1,3}}\s*[-_ ]?(?:of|von|van|di|af|av|sur|aus)[-_ ]?\s*\d{{1,3}}\)?{_END}"),
    (Kind.COUNTER, "0", rf"(?:{_OF_FEW})(?![-/\d]){_END}"),
    (Kind.COUNTER, "(", r"\(\s*(?:of|von|av|sur|de|/)\s*\d{1,3}\s*\)"),
    (Kind.VERSION, "a", rf"(?:(?-i:V)\.?|(?-i:v)[._ ]?|(?:ver|version|rev)[._ ]?)\d{{1,2}}{_END}"),
    (Kind.VERSION, "(", r"\(\d{1,2}\)"),
    (Kind.YEAR, "0", rf"(?:18|19|20)\d\d{_END}"),
    (Kind.NUMBER, "0", rf"\d+{_END}"),
)


def _one_of(sign: str) -> re.Pattern[str]:
    """The patterns that begin with a sign in one, in their order: the name of the group that matched tells which."""
    return re.compile("|".join(f"(?P<k{n}>{pattern})" for n, (_, signs, pattern) in enumerate(_PATTERNS)
                               if sign in signs), re.IGNORECASE)


_FROM_LETTER, _FROM_DIGIT, _FROM_BRACKET = map(_one_of, "a0(")
_NO_DIGIT = ("ado", "pro", "eci", "srg", "cmy")  # how those begin that need no digit
REACH = 24  # characters from a pattern's first letter to its first digit, at most
NEAR = 4  # beyond so many only these begin one
_FAR = (*_JOB_WORDS, *_TILE_WORDS, "inv", "din", "ver", "rev")
_PIECE = re.compile(r"(\s+[-–—]+\s+|__+|[_,;()\[\]{}+&（）【】「」『』、・〔〕［］]+|\s+[-–—]|[-–—]\s+)"  # a break
                    r"|(\s+)|([-–—.]+)"
                    r"|([^\W\d_]+(?:['’.][^\W\d_]+)*\.?|[^\W_]+|\S)")
_BREAK, _SPACE, _JOINT, _WORD = 1, 2, 3, 4
_DIGIT = re.compile(r"\d")
_WITHOUT_DIGIT = re.compile("|".join(_NO_DIGIT))
_PAIR = re.compile(r"(\d)([-/])(\d)")
_WEIGHT = re.compile(r"\d{2,3}(?:g|gsm|gr)")
_BY_WORD = (("print file", words.PRINT), ("reference", words.REFERENCE), ("tile", words.TILE), ("raw", words.RAW),
            ("master", words.MASTER))


@lru_cache(maxsize=200_000)
def role_word(text: str) -> str:
    """``"print file"``, ``"reference"``, ``"tile"``, ``"raw"`` or ``"master"`` for a word that says so, else ``""``."""
    folded = text.casefold()
    if role := _listed_role(folded):
        return role
    for role, beginnings in words.COMPOUNDS.items():
        if len(folded) > 7 and folded.startswith(beginnings):
            return role
    if text.isascii():
        return ""
    return next((role for role, parts in words.CONTAINED.items() if any(part in text for part in parts)), "")


def _listed_role(folded: str) -> str:
    return next((role for role, vocabulary in _BY_WORD if folded in vocabulary), "")


def tokens(text: str) -> Sequence[Token]:
    """A file's stem or a folder's name, composed, as tokens in order; camel case is taken apart ("LowTide" is two
    words), words of two parts that mean one thing are put together ("re-scan")."""
    made = _scan(text)
    if any(made[at].text == "-" and _role_of_two(made[at - 1], made[at + 1]) for at in range(1, len(made) - 1)):
        made = _merged(made)
    if _PAIR.search(text):
        made = _numbered(made)
    return made


def _scan(text: str) -> list[Token]:
    made: list[Token] = []
    digits = [match.start() for match in _DIGIT.finditer(text)]
    digits.append(len(text) + REACH)
    has_names_without_digit = bool(_WITHOUT_DIGIT.search(text.casefold()))
    at, upcoming, end = 0, 0, len(text)  # upcoming: the next digit, as an index of digits
    spaced = within = False  # within: directly behind a letter or digit, where no pattern may begin
    while at < end:
        while digits[upcoming] < at:
            upcoming += 1
        if not within and (has_names_without_digit or digits[upcoming] < end) and (
                match := _match(text, at, digits[upcoming] - at)):
            made.append(Token(_PATTERNS[int(str(match.lastgroup)[1:])][0], match.group(), at, "", spaced))
            at, spaced = match.end(), False
            continue
        piece = _PIECE.match(text, at)
        assert piece is not None  # any sign is a space or a word
        stop, kind = piece.end(), piece.lastindex
        within = False
        if kind == _SPACE:
            spaced = True
        elif kind == _BREAK or (kind == _JOINT and at):
            made.append(Token(Kind.BREAK, piece.group(), at))
            spaced = False
        else:
            stop = at + 1 if kind == _JOINT else stop  # a name does not begin with a joint
            for word_kind, word, role in _words(text[at:stop]):
                made.append(Token(word_kind, word, at, role, spaced))
                at, spaced = at + len(word), False
            spaced = False
            within = stop < end and text[stop].isalnum()
        at = stop
    return made


def _match(text: str, at: int, reach: int) -> re.Match[str] | None:
    """A pattern that begins at a sign; ``reach``: how far away the next digit is."""
    sign = text[at]
    if sign.isalpha():
        if reach > NEAR:
            begin = text[at : at + 12].casefold()
            if not (begin.startswith(_NO_DIGIT) or (reach < REACH and (begin.startswith(_FAR) or not begin.isascii()))):
                return None
        return _FROM_LETTER.match(text, at)
    return _FROM_DIGIT.match(text, at) if sign.isdecimal() else _FROM_BRACKET.match(text, at) if sign == "(" else None


@lru_cache(maxsize=200_000)
def _words(text: str) -> tuple[tuple[str, str, str], ...]:
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


def _kind_of(word: str) -> str:
    if word in words.VERSION:
        return Kind.VERSION
    if word in words.MATERIAL or _WEIGHT.fullmatch(word):
        return Kind.MATERIAL
    return Kind.COLOUR if word in words.COLOUR else Kind.WORD


def _merged(made: Sequence[Token]) -> list[Token]:
    """Words of two parts that mean one thing: "re-scan", "for print", "low res", "fine art"."""
    joined, at = [], 0
    while at < len(made):
        token = made[at]
        while at + 2 < len(made) and made[at + 1].text == "-" and (role := _role_of_two(token, made[at + 2])):
            token = Token(Kind.ROLE, f"{token.text}-{made[at + 2].text}", token.start, role, token.spaced)
            at += 2
        joined.append(token)
        at += 1
    return joined


def _role_of_two(first: Token, second: Token) -> str:
    return _listed_role((first.text + second.text).casefold())


def _numbered(made: Sequence[Token]) -> list[Token]:
    """The "2-1" of "no. 2-1" as a number and a counter: the first is the number that "no." announces."""
    numbered, before = [], ""
    for token in made:
        pair = _PAIR.fullmatch(token.text) if token.kind == Kind.COUNTER and before in words.NUMERO else None
        if pair:
            numbered += [Token(Kind.NUMBER, pair[1], token.start, spaced=token.spaced),
                         Token(Kind.BREAK, pair[2], token.start + len(pair[1])),
                         Token(Kind.NUMBER, pair[3], token.start + len(pair[1]) + len(pair[2]))]
        else:
            numbered.append(token)
        if token.kind != Kind.BREAK:
            before = token.text.casefold().strip(".")
    return numbered
