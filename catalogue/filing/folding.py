"""Words and names in the form they are compared in: without case, accents, signs."""

import re
import unicodedata
from functools import lru_cache

_WORDS = re.compile(r"[^\W_]+")
_PLAIN = str.maketrans({"ı": "i", "ł": "l", "ø": "o", "đ": "d", "ð": "d", "æ": "ae", "œ": "oe"})


@lru_cache(maxsize=500_000)
def fold(text: str) -> str:
    """A name as compared: composed, casefolded, without accents on Latin letters, one space between words."""
    if text.isascii():
        return " ".join(_WORDS.findall(text.casefold()))
    decomposed = unicodedata.normalize("NFKD", text.casefold().translate(_PLAIN))
    plain = "".join([c for i, c in enumerate(decomposed) if c < "\x80" or not (
        unicodedata.combining(c) and i and unicodedata.name(decomposed[i - 1], "").startswith("LATIN"))])
    return " ".join(_WORDS.findall(unicodedata.normalize("NFC", plain)))


def without_umlauts(text: str) -> str:
    """ "Stöckli" and "Stoeckli" alike; ``text`` is folded."""
    return text.replace("ae", "a").replace("oe", "o").replace("ue", "u")
