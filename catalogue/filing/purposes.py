"""What an archive's own words for purposes mean, learned from the files that have them.

"Wydruk" means print to readers of Polish; to others it is enough that its files have sizes and papers in their names.
"""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

from catalogue.filing.folders import purpose_key
from catalogue.filing.folding import fold
from catalogue.filing.model import LOSSY, Work
from catalogue.filing.names import Name
from catalogue.filing.titles import title_key
from catalogue.filing.tokens import Kind

SEEN = 2  # files from which a word's meaning is learned
MOSTLY = 0.7


@dataclass(frozen=True, slots=True)
class Purposes:
    """Roles by an archive's own words, in names and as folders."""

    words: dict[str, str]
    folders: dict[str, str]


@dataclass(slots=True)
class _Met:
    files: int = 0
    lossy: int = 0
    counted: int = 0
    sized: int = 0
    pieces: set[tuple[str, str]] = field(default_factory=set)
    stated_roles: Counter[str] = field(default_factory=Counter)  # roles that other words of the same files state


def learn_purposes(works: Sequence[Work]) -> Purposes:
    """Roles of words that the vocabulary does not know."""
    words: dict[str, _Met] = defaultdict(_Met)
    folders: dict[str, _Met] = defaultdict(_Met)
    for work in works:
        if work.title is None or not work.piece.value:
            continue
        stripped = work.title.stripped
        met = [words[fold(t.text)] for t in stripped if t.kind == Kind.WORD and len(t.text) > 1]
        if "p" in work.kinds:
            met += [folders[purpose_key(name.text)] for name, kind in zip(work.names, work.kinds, strict=False)
                    if kind == "p" and not any(t.role for t in name.tokens)]
        if not met:
            continue
        counted = bool(work.counter) or any(t.kind == Kind.COUNTER for t in stripped) or _ends_in_number(work.names[-1])
        sized = any(t.kind in (Kind.SIZE, Kind.MATERIAL) for t in stripped)
        for bearer in met:
            bearer.files += 1
            bearer.lossy += work.facts.format in LOSSY
            bearer.counted += counted
            bearer.sized += sized
            bearer.pieces.add((work.artist_key, title_key(work.piece.value)))
            bearer.stated_roles[work.title.role[0]] += 1
    return Purposes({w: role for w, m in words.items() if (role := _role_of(m))},
                    {w: role for w, m in folders.items() if (role := _role_of(m))})


def _role_of(met: _Met) -> str:
    if met.files < SEEN:
        return ""
    if met.lossy >= MOSTLY * met.files:
        return "reference"
    if met.counted >= MOSTLY * met.files and met.files >= 2 * len(met.pieces):
        return "tile"
    if met.sized >= MOSTLY * met.files:
        return "print file"
    role, count = max(met.stated_roles.items(), key=lambda item: (item[1], item[0]))
    return role if role and count >= MOSTLY * met.files and len(met.stated_roles) <= 2 else ""


def _ends_in_number(name: Name) -> bool:
    if not name.spoken:
        return False
    last = name.spoken[-1]
    return (last.kind == Kind.NUMBER or (last.kind == Kind.VERSION and last.text.startswith("("))
        or (len(last.text) in (2, 3) and last.text[0].isalpha() and last.text[1:].isdigit())
        or (len(last.text) == 1 and last.text.casefold() in "abcdefgh" and len(name.spoken) > 1))
