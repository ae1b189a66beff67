"""Shops made by dice: a random combination of habits that shops have, with the truth of every file.

    python -m scripts.names_generator SEED      lists one shop's paths with their truth

A shop has one to three *epochs*, each with its own layout of folders, name forms, separators, purpose words and tile
notation; and slips: misspelt families, misfiled scans, copies, scanner names. The truth is what a careful reader of all
the paths could say: the fullest form of an artist's name that any path writes, and nothing where no path tells.
"""

import random
import sys
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, replace

from scripts.names_kinds import Truth
from scripts.names_languages import LANGUAGES

# Folders and stem; {A} artist, {T} title, {Y} year, {D} day, {J} job number, {R} root of artists, {O} root of orders,
# {G} gallery, {S} series, {L} initial letter, {N} month, {X} a running number. {P} before the artist: files by purpose.
LAYOUTS = (
    ("{R}/{A}/{T}", "{T}"), ("{R}/{A}/{T}", "{T}"), ("{R}/{A}/{T}", ""), ("{A}/{T}", "{T}"), ("{A}", "{T}"),
    ("{R}/{A}", "{T}"), ("{R}/{A}", "{A}|{T}"), ("{Y}/{A}", "{T}"), ("{Y}/{A}/{T}", "{T}"), ("{R}/{Y}/{A}", "{T}"),
    ("{R}/{A}/{Y}", "{T}"), ("{R}/{L}/{A}/{T}", "{T}"), ("{O}/{Y}/{J} {A}", "{T}"), ("{O}/{J} {A}", "{A}|{T}"),
    ("{O}/{J}_{A}_{T}", "{T}"), ("{O}/{D} {A} {T}", "{T}"), ("{O}/{D}_{A}", "{T}"), ("{O} {Y}/{J} {A} - {T}", "{T}"),
    ("{Y}/{N}", "{A}|{T}"), ("{R} {Y}", "{A}|{T}"), ("{R}", "{A}|{T}"), ("{R}", "{T}|{A}"), ("", "{A}|{T}"),
    ("{R}/{T} ({A})", "{T}"), ("{R}/{A} - {T}", "{T}"), ("{R}/{A} - {T}", ""), ("{R}/{A}/{S}", "{T}"),
    ("{R}/{A}/{S}/{T}", "{T}"), ("{G}/{A}", "{T}"), ("{O}/{G}/{D} {A}", "{T}"), ("{P}/{A}", "{T}"),
    ("{P}/{A}/{T}", "{T}"), ("{R}/{A}/{X} {T}", "{T}"), ("{Y}/{D}", "{A}|{T}"), ("{O}/{J}", "{A}|{T}"),
    ("{R}/{A}/{T} ({Y})", "{T}"), ("{R}", "{D}|{A}|{T}"), ("{R}/{A}", "{Y}|{T}"), ("{R}/{A}", "{X}|{T}"),
)
SPACES = ("full", "full", "comma", "upper", "surname", "initial", "initial", "plain initial")
TIGHT = ("surname", "camel", "underscored", "slug", "comma", "full", "full")
SIZES = ("30x40", "50x70", "40x60", "60x80", "70x100", "24x30", "A3", "A2", "18x24", "12x16in", "90 x 60")


@dataclass(frozen=True, slots=True)
class Habit:
    """How files of one purpose are told: a folder's word, words in the name behind or before the title."""

    folder: str
    word: str
    before: bool


@dataclass(frozen=True, slots=True)
class Epoch:
    folders: str
    stem: str
    folder_form: str
    stem_form: str
    joint: str  # between artist and title
    mark: str  # between title and what follows
    space: str  # instead of the spaces in a title
    case: str
    day: str
    tile: Habit
    counter: str
    prints: Habit
    web: Habit
    detail: Habit
    master: Habit
    size: str
    year: bool


@dataclass(frozen=True, slots=True)
class Artist:
    given: str
    family: str
    japanese: bool

    @property
    def full(self) -> str:
        return self.family + self.given if self.japanese else f"{self.given} {self.family}"

    def form(self, name: str) -> str:
        if self.japanese:
            return {"surname": self.family, "initial": f"{self.family}様", "comma": f"{self.family} {self.given}",
                    "plain initial": f"{self.full}様", "camel": self.full}.get(name, self.full)
        first = self.given[0]
        return {
            "full": self.full, "comma": f"{self.family}, {self.given}", "upper": f"{self.family.upper()} {self.given}",
            "surname": self.family, "initial": f"{first}. {self.family}", "plain initial": f"{first} {self.family}",
            "camel": first + self.family.replace(" ", ""), "underscored": self.full.replace(" ", "_"),
            "slug": _plain(self.full).lower().replace(" ", "-"),
            "initials": "".join(part[0].upper() for part in self.full.replace("-", " ").split()),
        }[name]

    def written(self, name: str) -> tuple[int, str]:
        """How full a form is, and how a reader would write it."""
        if self.japanese:
            return (1, self.family) if name in ("surname", "initial") else (3, self.full)
        if name == "initials":
            return 0, self.form(name)
        if name == "surname":
            return 1, self.family
        return (2, f"{self.given[0]}. {self.family}") if "initial" in name or name == "camel" else (3, self.full)


def _plain(text: str) -> str:
    text = text.replace("ł", "l").replace("Ł", "L").replace("ı", "i").replace("ß", "ss")
    return "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))


def shop(seed: int, count: int = 160) -> list[Truth]:
    """About ``count`` files of the shop with that seed."""
    return list(_Shop(seed).files(count))


class _Shop:
    def __init__(self, seed: int) -> None:
        self.r = r = random.Random(f"shop {seed}")
        names = list(LANGUAGES)
        self.language = LANGUAGES[names[seed % len(names)]]
        self.japanese = names[seed % len(names)] in ("Japanese",)
        self.artists = self._make_artists()
        self.titles = self._make_titles()
        self.series = {a: r.sample(self.language.nouns, 2) for a in self.artists}
        self.epochs = [self._make_epoch(i) for i in range(r.choice((1, 1, 2, 2, 3)))]
        self.typos = r.choice((0.0, 0.0, 0.02, 0.05))
        self.best: dict[Artist, tuple[int, str]] = {}

    def _make_artists(self) -> list[Artist]:
        r, language = self.r, self.language
        given, family = list(language.given), list(language.family)
        r.shuffle(given)
        r.shuffle(family)
        number = r.randrange(4, 10)
        artists = [Artist(g, f, self.japanese) for g, f in zip(given[:number], family[:number], strict=False)]
        if r.random() < 0.2:  # two of one family
            artists[1] = replace(artists[1], family=artists[0].family)
        return artists

    def _make_titles(self) -> list[tuple[str, ...]]:
        """Groups of titles; one group is one artist's series, most hold one."""
        r, language = self.r, self.language
        nouns = list(language.nouns)
        r.shuffle(nouns)
        made: list[tuple[str, ...]] = [(noun,) for noun in nouns[:9]]
        gap = "" if self.japanese else " "
        made += [(f"{a}{gap}{n}",) for a, n in zip(language.adjectives * 3, nouns[3:] + nouns, strict=False)][:11]
        for _ in range(8):
            a, b = r.sample(nouns, 2)
            link = r.choice(language.links)
            made.append((f"{a}{gap}{link}{gap}{b if self.japanese else b.lower() if r.random() < .5 else b}",))
        for noun in r.sample(nouns, 3):
            start = r.randrange(1, 9)
            form = r.choice(("{n} {i}", "{n} {r}", "{n} No. {i}", "{n} ({r})"))
            made.append(tuple(form.format(n=noun, i=i, r=("", "I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX",
                              "X", "XI")[i]) for i in range(start, start + 3)))
        made.append(tuple(f"{language.untitled} {i}" for i in (3, 4, 7)))
        a, b = r.sample(nouns, 2)
        made += [(f"{a}, {b}",), (f"{b} ({language.adjectives[0]})",), (str(r.randrange(1931, 1999)),)]
        seen: set[str] = set()
        free = [g for g in made if not (g[0] in seen or seen.add(g[0]))]  # type: ignore[func-returns-value]
        r.shuffle(free)
        return free

    def _make_epoch(self, number: int) -> Epoch:
        r, language = self.r, self.language
        folders, stem = r.choice(LAYOUTS)
        joint = r.choice((" - ", " - ", "_", ", ", "__") if "|" in stem else ("_", " "))
        tight = joint in ("_", "__") or r.random() < 0.25
        mark = r.choice(("_", "-", "_", " - ") if tight else (" ", " - ", "_", " ", "-"))
        space = r.choice(("_", "-", "", "_")) if tight and "|" not in stem else " "
        if "|" in stem and joint == "__":
            space = r.choice(("_", " "))
        form = r.choice(TIGHT if tight else SPACES)
        if joint == ", " and form == "comma":
            form = "full"
        folder_form = "initials" if number and "{A}/" in f"{folders}/" and r.random() < 0.15 and not self.japanese \
            else r.choice(SPACES)
        if " {A} {T}" in folders:
            folder_form = r.choice(("surname", "full", "initial"))
        if "_{A}_{T}" in folders:
            folder_form = r.choice(("surname", "camel", "full"))
        return Epoch(
            folders, stem, folder_form, form, joint, mark, space,
            r.choice(("as is", "as is", "lower")) if not self.japanese and space != "" else "as is",
            r.choice(("%Y-%m-%d", "%Y%m%d", "%y%m%d", "%d.%m.%Y", "%Y_%m_%d")),
            Habit(r.choice((*language.tile, "raw", "tiles", "")), r.choice((*language.tile, "", "")), False),
            r.choice(("{i}", "{i:02d}", "{i} of {n}", "r{row}c{col}", "({i})", "{i:03d}", "{letter}", "{i}-{n}")),
            Habit(r.choice((*language.prints, "", "")), r.choice((*language.prints, *language.prints, "")),
                  r.random() < 0.1),
            Habit(r.choice((*language.web, "web", "", "")), r.choice(language.web), False),
            Habit("", r.choice(language.detail), False),
            Habit(r.choice((*language.master, "", "", "", "")), r.choice((*language.master, "", "")), False),
            r.choice(("", "cm", " cm")), r.random() < 0.2)

    def files(self, count: int) -> Iterator[Truth]:
        r, language = self.r, self.language
        made: list[tuple[Truth, Artist | None]] = []
        turn, free = 0, list(self.titles)
        while len(made) < count and free:
            artist = self.artists[turn % len(self.artists)] if turn < len(self.artists) * 2 else r.choice(self.artists)
            epoch = self.epochs[min(len(self.epochs) - 1, turn * len(self.epochs) // 34)]
            turn += 1
            for title in free.pop():
                works = list(self._work(epoch, artist, title, 2008 + turn // 3))
                made += [(t, artist) for t in works]
                if r.random() < 0.04 and not title.isdigit():
                    shelf = r.choice(language.unsorted)
                    made.append((replace(works[0], path=f"{shelf}/{title}.tif"), artist))
        for i in range(r.randrange(6)):
            name = r.choice((f"scan{i:04d}.tif", f"IMG_{2200 + i}.jpg", f"Untitled-{i}.tif", f"Image ({i}).tif"))
            lossy = name.endswith("jpg")
            made.append((Truth(f"{r.choice(language.unsorted)}/{name}", "", "", "reference" if lossy else "master",
                               "JPEG" if lossy else "TIFF"), None))
        seen: set[str] = set()
        for truth, whose in made:
            if truth.path not in seen:
                seen.add(truth.path)
                yield replace(truth, artist=self.best[whose][1]) if whose else truth

    def _named(self, artist: Artist, form: str) -> str:
        twins = [a for a in self.artists if a is not artist and a.family == artist.family]
        if twins and form in ("surname", "camel", "initial", "plain initial"):
            form = "full"
        if form == "initials" and any(a.form("initials") == artist.form("initials") for a in self.artists
                                      if a is not artist):
            form = "full"
        self.best[artist] = max(self.best.get(artist, (-1, "")), artist.written(form))
        text = artist.form(form)
        if self.r.random() < self.typos and len(artist.family) > 5 and artist.family in text and artist in self.best:
            at = self.r.randrange(2, len(artist.family) - 2)
            slip = self.r.choice((artist.family[:at] + artist.family[at + 1:],
                                  artist.family[:at] + artist.family[at - 1] + artist.family[at:]))
            text = text.replace(artist.family, slip)
        return text

    def _work(self, epoch: Epoch, artist: Artist, title: str, year: int) -> Iterator[Truth]:
        r = self.r
        month, day = r.randrange(1, 13), r.randrange(1, 29)
        date = (epoch.day.replace("%Y", str(year)).replace("%m", f"{month:02d}").replace("%d", f"{day:02d}")
                .replace("%y", f"{year % 100:02d}"))
        shown = title.lower() if epoch.case == "lower" else title
        low = shown
        if epoch.space != " ":
            low = (shown.title() if epoch.space == "" else shown).replace(" ", epoch.space).replace(",", "")
        in_folder = title.replace("/", "-")
        values = {
            "A": self._named(artist, epoch.folder_form) if "{A}" in epoch.folders else "", "T": in_folder, "Y": year,
            "D": date, "J": r.choice((f"{year}-{r.randrange(400):03d}", f"{r.randrange(1000, 9999)}")),
            "R": self.language.roots[0], "O": self.language.jobs[0], "G": r.choice(self.language.galleries),
            "S": r.choice(self.series[artist]), "L": artist.family[0], "N": f"{month:02d}",
            "X": f"{r.randrange(99):02d}",
        }
        in_stem = {**values, "T": low, "A": self._named(artist, epoch.stem_form) if "{A}" in epoch.stem else ""}
        stem = epoch.joint.join(part.format(**in_stem) for part in epoch.stem.split("|")) if epoch.stem else ""

        def truth(habit: Habit, role: str, end: str, kind: str = "TIFF", size: tuple[int, int] = (8200, 6100),
                     without: bool = False) -> Truth:
            top = {"master": self.language.master, "tile": self.language.tile, "print file": self.language.prints,
                   "reference": self.language.web}[role][0]
            folders = epoch.folders.format(**values, P=top)
            word = habit.word
            if not without and not (stem or word or end):
                word = "scan"
            behind = epoch.mark.join(w for w in (word if not habit.before else "", end) if w)
            name = epoch.mark.join(w for w in (stem, behind) if w) or "scan"
            if habit.before and word:
                name = f"{word}{epoch.mark}{name}"
            parts = [p for p in (folders, habit.folder if "{P}" not in epoch.folders else "", name) if p]
            ending = {"TIFF": r.choice((".tif", ".tif", ".tiff")), "JPEG": ".jpg"}[kind]
            return Truth("/".join(parts) + ending, "", title, role, kind, *size)

        version = r.choice(("", "", "", *self.language.version))
        end = epoch.mark.join(w for w in (str(year) if epoch.year else "", version) if w)
        master = truth(epoch.master, "master", end, size=(14200, 11000))
        yield master
        if r.random() < 0.06:
            copied = r.choice(("{} copy.tif", "{} (2).tif", "{}_v2.tif")).format(master.path.rsplit(".", 1)[0])
            yield replace(master, path=copied)
        number = r.choice((0, 0, 2, 3, 4, 6))
        counter = epoch.counter
        if not epoch.tile.folder and not epoch.tile.word and counter in ("{i}", "({i})", "{letter}", "{i}-{n}"):
            counter = "{i} of {n}"  # else nothing would tell captures from a series
        for i in range(1, number + 1):
            text = counter.format(i=i, n=number, row=(i + 1) // 2, col=2 - i % 2, letter="abcdef"[i - 1])
            if not stem and not epoch.tile.word:
                text = f"scan {text}"
            yield truth(epoch.tile, "tile", text)
        sizes = r.sample(SIZES, 3)
        for i in range(r.choice((0, 1, 1, 2))):
            size = sizes[i] + (epoch.size if sizes[i][-1].isdigit() and sizes[i][0] != "A" else "")
            paper = r.choice(("", *self.language.paper))
            if not epoch.prints.folder and not epoch.prints.word:
                paper = paper or self.language.paper[0]
            extra = r.choice(("", "", "300dpi"))
            yield truth(epoch.prints, "print file", epoch.mark.join(w for w in (size, paper, extra) if w),
                           size=(7200, 5400))
        if r.random() < 0.35:
            yield truth(epoch.web, "reference", "", "JPEG", (1500, 1150))
        if r.random() < 0.15:
            yield truth(epoch.detail, "reference", "", "JPEG", (2200, 1600))
        if r.random() < 0.12:
            yield truth(replace(epoch.master, word=r.choice(("rescan", "scan 2"))), "master", "", size=(16000, 12000))


def main() -> None:
    for truth in shop(int(sys.argv[1])):
        print(f"{truth.path}   ({truth.artist} | {truth.piece} | {truth.role})")


if __name__ == "__main__":
    main()
