"""Underscores that part a name's fields, and hyphens that stand for spaces: "Ada-Quill_Low-Tide_30x40", "Quill_Moor_1".

One name alone cannot say what an underscore is: in "anna_lee_low_tide" it stands for a space, in "Quill_Moor" it parts
the artist from the title. The archive's other names say: where those that also hold spaces or hyphens have two fields
each, however many words, every underscore parts fields.
"""

import re
import unicodedata
from collections.abc import Sequence
from functools import lru_cache

from catalogue.filing.tokens import Kind, role_word, tokens

ENOUGH = 4  # names whose words are joined by something else than underscores
NEARLY_ALL = 0.9  # share of names that must have two fields of words
FIELDS = 2  # the artist's and the title's
_HYPHEN = re.compile(r"(?<=[^\W\d_])-(?=[^\W_])")
_HYPHEN_IN_PHRASE = re.compile(r"(?<=[^\W\d_])-(?=[a-zà-ÿ])")  # "Low-tide", as no double name is written
_PART = re.compile(r"(?<!\d)_|_(?!\d)")


def write_out_fields(paths: Sequence[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """The paths with " - " between the fields of the stems and spaces between their words, where the archive parts
    its fields by underscores; else as they are."""
    stems = sorted({path[-1] for path in paths if "_" in path[-1]})
    spaced = [stem for stem in stems if " " in stem]
    hyphened = [stem for stem in stems if " " not in stem and _HYPHEN.search(stem)]
    joined_otherwise = spaced + hyphened
    if len(joined_otherwise) < ENOUGH:
        return list(paths)
    fields = {stem: _worded_fields(stem) for stem in joined_otherwise}
    if sum(len(fields[s]) == FIELDS for s in joined_otherwise) < NEARLY_ALL * len(joined_otherwise):
        return list(paths)
    fields |= {stem: _worded_fields(stem) for stem in stems if stem not in fields}
    if sum(0 < len(f) <= FIELDS for f in fields.values()) < NEARLY_ALL * len(stems):
        return list(paths)
    several_words = {field for s in hyphened for field in fields[s] if _HYPHEN.search(field)}
    enough = ENOUGH - any(_HYPHEN_IN_PHRASE.search(field) for field in several_words)
    for_spaces = len(hyphened) > 10 * len(spaced) and len(several_words) >= enough
    if not for_spaces and len(spaced) < ENOUGH:
        return list(paths)  # hyphens of double names alone
    written = {s: _write_out(s, for_spaces) for s in stems if len(fields[s]) == FIELDS}
    return [(*path[:-1], written.get(path[-1], path[-1])) for path in paths]


def _worded_fields(stem: str) -> list[str]:
    """The fields of a stem between underscores that hold a word which says no purpose, size or the like."""
    return [field for field in stem.split("_") if _holds_word(field)]


@lru_cache(maxsize=100_000)
def _holds_word(field: str) -> bool:
    return any(t.kind == Kind.WORD and len(t.text) > 1 for t in tokens(unicodedata.normalize("NFC", field)))


def _write_out(stem: str, hyphens_for_spaces: bool) -> str:
    fields = _PART.split(stem)
    if hyphens_for_spaces:
        fields = [field if role_word(field.replace("-", "")) or role_word(field) else _HYPHEN.sub(" ", field)
                  for field in fields]
    return " - ".join(field for field in fields if field)
