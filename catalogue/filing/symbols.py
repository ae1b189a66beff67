"""A file name as a sequence of symbols, the form in which names are compared to find where titles end."""

from functools import lru_cache

from catalogue.filing import vocabulary as words
from catalogue.filing.folding import fold
from catalogue.filing.names import Name, read_name
from catalogue.filing.tokens import SURE, Kind

Symbol = tuple[str, str]  # text with its class: w word, k known, v version, n number, y year, s no title, e end
_KNOWN = frozenset({Kind.ROLE, Kind.MATERIAL, Kind.COLOUR})


@lru_cache(maxsize=200_000)
def symbol_of(kind: str, text: str) -> Symbol:
    """How a token of a kind is compared."""
    if kind in SURE and kind != Kind.COLOUR:
        return "s", kind
    if kind == Kind.YEAR:
        return "y", text
    if kind == Kind.NUMBER:
        return "n", text
    folded = fold(text) or text
    if folded.isdigit() or (len(folded) == 1 and folded.isascii() and text.isupper()) or is_roman(text):
        return "n", folded
    if kind == Kind.VERSION:
        return "v", folded
    if kind in _KNOWN or folded in words.POSITION:
        return "k", folded
    return "w", folded


@lru_cache(maxsize=100_000)
def symbols_of(text: str) -> tuple[tuple[int, Symbol], ...]:
    """The symbols of a name with the tokens they stand for."""
    return tuple((i, symbol_of(t.kind, t.text)) for i, t in enumerate(read_name(text).tokens) if t.kind != Kind.BREAK)


def is_roman(text: str) -> bool:
    """Whether a word is a Roman numeral as series are counted."""
    return bool(text) and set(text.upper()) <= set("IVX") and (text.isupper() or text.islower())


def joins_words(text: str) -> bool:
    """Whether a word stands inside titles, as "of" and "at", and not before purposes, as "for"."""
    folded = text.casefold()
    return folded in words.FUNCTION and folded not in words.PURPOSE_LINKS and len(folded) > 1


def is_count(text: str) -> bool:
    """Whether a folded text is but a number as series have: "4", "iv", "no 4"."""
    bare = text.split()
    return bool(bare) and (bare[-1].isdigit() or is_roman(bare[-1])) and (
        len(bare) == 1 or (len(bare) == 2 and bare[0] in words.NUMERO))


def joint(name: Name, index: int) -> str:
    gap = name.text[name.tokens[index - 1].end : name.tokens[index].start]
    before = name.tokens[index - 1]
    return (before.text.strip() if before.kind == Kind.BREAK else "") or ("~" if not gap else " ")


@lru_cache(maxsize=200_000)
def first_fields(text: str) -> tuple[tuple[int, str, bool], ...]:
    """The first one, two words of a name, and its words up to a break, folded; with the token behind them and whether
    a break is between."""
    first: list[tuple[int, str, bool]] = []
    field_words: list[str] = []
    tokens = read_name(text).tokens[:6]
    for i, token in enumerate(tokens):
        if token.kind == Kind.BREAK:
            if field_words and i + 1 < len(read_name(text).tokens):
                first.append((i + 1, " ".join(field_words), True))
        elif token.kind in SURE or token.kind in (Kind.NUMBER, Kind.YEAR):
            break
        else:
            if field_words and tokens[i - 1].kind != Kind.BREAK:
                first.append((i, " ".join(field_words), False))
            field_words.append(fold(token.text))
            if len(field_words) > 3 or len(field_words[0]) < 2:
                break
    return tuple(first)
