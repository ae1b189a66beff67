"""How names and words are compared: one folding for keys, for the search index and for what is typed into it.

Case, width and compatibility forms are folded (Unicode NFKD and full case folding). Combining marks are dropped after
Latin, Greek and Cyrillic letters only, where they are accents a person leaves out; elsewhere they tell words apart:
the voicing marks of kana, the parts of a Hangul syllable, the vowel signs of Indic scripts.
"""

import re
import sqlite3
import unicodedata
from functools import lru_cache

_ACCENTED = ("LATIN", "GREEK", "CYRILLIC")
# Patterns that few texts need: `re` compiles one when it is first used, and keeps it.
# Variation selectors choose between drawings of one character.
_INVISIBLE = "[\ufe00-\ufe0f\U000e0100-\U000e01ef]"
_EAST_ASIAN = r"[\u3040-\u30ff\u3400-\u9fff\uac00-\ud7af ]+"
# Han, kana and their marks of voicing: written without spaces between words.
_UNSPACED = ("[\u3005-\u3007\u3040-\u30ff\u31f0-\u31ff\u3400-\u4dbf\u4e00-\u9fff\U00020000-\U0003ffff]"
             "[\u3099\u309a]*")
_PLAIN = re.compile(r"[a-z0-9 ]*")


def fold_name(text: str) -> str:
    """A name as compared: words in lower case, one space between them. Empty if nothing can be seen of it.

    A name of signs alone, such as ``!!!``, keeps its signs, because it would have no key otherwise.
    """
    return " ".join(words(text))


def words(text: str) -> list[str]:
    """The folded words of a text: stretches of letters, figures and marks; of signs where there is no such stretch."""
    lowered = unaccented(text)
    if _PLAIN.fullmatch(lowered):
        return lowered.split()
    stretches = "".join(c if unicodedata.category(c)[0] in "LNM" else " " for c in lowered).split()
    if stretches:
        return stretches
    return "".join(" " if unicodedata.category(c)[0] in "ZC" else c for c in lowered).split()


def joined_name(key: str) -> str:
    """A folded Chinese, Japanese or Korean name without the space before the given name, which some write and others
    do not; empty for any other."""
    return key.replace(" ", "") if re.fullmatch(_EAST_ASIAN, key) else ""


def separated(folded: str) -> str:
    """Folded text with every Chinese and Japanese character a word of its own."""
    return folded if folded.isascii() else " ".join(re.sub(_UNSPACED, r" \g<0> ", folded).split())


def searchable(text: str) -> str:
    """What the search index holds of a text: its folded words, and again with Chinese and Japanese characters apart,
    by which any run of them is found. Folding that gives the same."""
    folded = fold_name(text)
    spaced = separated(folded)
    return folded if spaced == folded else f"{folded} {spaced}"


@lru_cache(maxsize=4096)
def unaccented(text: str) -> str:
    """Text with case, width and accents folded; signs and spaces kept. Idempotent."""
    if text.isascii():
        return text.lower()
    known = text
    for _ in range(4):  # a case folding may yield what decomposes further, as U+0390 or U+1E9A; two rounds settle all
        plain = _composed(known)
        if plain == known:
            break
        known = plain
    return known


def _composed(text: str) -> str:
    lowered = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text).casefold())
    letters: list[str] = []
    accented = False
    for c in re.sub(_INVISIBLE, "", lowered):
        category = unicodedata.category(c)
        if category == "Cf":  # joiners, soft hyphens, marks of direction
            continue
        if category == "Mn" and accented:
            continue
        if category[0] != "M":
            accented = category[0] == "L" and unicodedata.name(c, "").startswith(_ACCENTED)
        letters.append(c)
    return unicodedata.normalize("NFC", "".join(letters))


def register_functions(connection: sqlite3.Connection) -> None:
    """Give a connection the SQL functions ``folded`` and ``searchable``, which triggers call."""
    connection.create_function("folded", 1, lambda text: fold_name(text) if isinstance(text, str) else "",
                               deterministic=True)
    connection.create_function("searchable", 1, lambda text: searchable(text) if isinstance(text, str) else "",
                               deterministic=True)
