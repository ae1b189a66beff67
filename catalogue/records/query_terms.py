"""A query's terms: the words typed, sizes as orders are indexed, and which of them identify a work."""

import re

from catalogue.records.folding import unaccented, words

Term = tuple[str, ...]      # alternatives: each a word, or words that follow one another
# English words that do not identify a work. Common practice, no source.
_STOP_WORDS = frozenset({
    "a", "all", "an", "and", "any", "are", "as", "at", "by", "for", "from", "he", "her", "his", "i", "in", "is",
    "it", "its", "me", "my", "of", "on", "one", "ones", "or", "our", "out", "painting", "photo", "picture",
    "piece", "print", "she", "some", "that", "the", "their", "them", "there", "these", "they", "this", "those",
    "to", "was", "we", "where", "which", "who", "with", "you", "your"})
_SIZE = re.compile(r"(?<![0-9.,])([0-9]+(?:[.,][0-9]+)?)\s*(?:cm|mm|inch(?:es)?|in|\"|″|′′)?\s*[x×]\s*"
                   r"([0-9]+(?:[.,][0-9]+)?)(?:\s*(cm\b|mm\b|inch(?:es)?\b|in\b|\"|″|′′))?", re.IGNORECASE)
_LARGEST_CM = 250  # a print's side beyond this is surely meant in millimetres


def words_of(text: str) -> list[str]:
    """The words of a query as the index knows them: folded, sizes as ``50x70``."""
    return [term[0] for term in terms_of(text)]


def terms_of(text: str) -> list[Term]:
    """What must all be found: of each term one of the alternatives, a word, or words that follow one another. A size
    is sought as orders are indexed and as it was typed, for a title may hold one."""
    plain = unaccented(text)
    terms: list[Term] = []
    end = 0
    for size in _SIZE.finditer(plain):
        terms += [(word,) for word in _words(plain[end : size.start()])]
        typed = " ".join(words(size[0]))
        terms.append(tuple(dict.fromkeys((_size_word(size), typed))))
        end = size.end()
    return terms + [(word,) for word in (_words(plain[end:]) if end else words(plain))]


def _words(text: str) -> list[str]:
    """Words beside a size; signs alone do not count as words there."""
    stretches = words(text)
    return stretches if any(c.isalnum() for word in stretches for c in word) else []


def _size_word(match: re.Match[str]) -> str:
    """``50 × 70 cm``, ``50.2x70`` and ``500x700mm`` as orders are indexed: whole centimetres."""
    sides = [float(side.replace(",", ".")) for side in match.group(1, 2)]
    unit = (match[3] or "").lower()
    if unit.startswith("in") or unit in ('"', "″", "′′"):  # folding takes a double prime apart
        sides = [side * 2.54 for side in sides]
    elif unit == "mm" or (not unit and min(sides) > _LARGEST_CM):
        sides = [side / 10 for side in sides]
    return "{}x{}".format(*(int(side + 0.5) for side in sides))


def is_telling(term: Term) -> bool:
    """Whether a term identifies a work: neither a stop word nor a single letter."""
    return any(word not in _STOP_WORDS and (len(word) > 1 or not word.isascii() or has_figure(word)) for word in term)


def has_figure(word: str) -> bool:
    """Whether a word contains a digit."""
    return any(c.isdigit() for c in word)
