"""What an invented shop is: its artists and titles, its habit of naming, and the truth of every file."""

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Truth:
    """What one file shows. ``artist`` and ``piece`` are empty where its name and folders do not say."""

    path: str
    artist: str
    piece: str
    role: str
    format: str = "TIFF"
    width: int = 9000
    height: int = 7000


@dataclass(frozen=True, slots=True)
class Work:
    artist: str
    title: str
    year: int
    tiles: int
    prints: int
    web: bool
    detail: bool
    rescan: bool


@dataclass(slots=True)
class Shop:
    name: str
    artists: tuple[str, ...]
    titles: tuple[str, ...]
    files: Callable[["Shop", Work], Iterator[Truth]]
    held_out: bool = False
    noise: tuple[str, ...] = ()
    dice: random.Random = field(default_factory=random.Random)

    def archive(self, count: int = 150) -> list[Truth]:
        """About ``count`` files with their truth, the same every time."""
        self.dice.seed(self.name)
        free = list(self.titles)
        self.dice.shuffle(free)
        found: list[Truth] = [
            Truth(
                path,
                "",
                "",
                "reference" if path.endswith("jpg") else "master",
                "JPEG" if path.endswith("jpg") else "TIFF",
            )
            for path in self.noise
        ]
        turn = 0
        while len(found) < count and free:
            artist = (
                self.artists[turn % len(self.artists)]
                if turn < 2 * len(self.artists)
                else self.dice.choice(self.artists)
            )
            turn += 1
            r = self.dice
            work = Work(
                artist,
                free.pop(),
                r.choice((2018, 2019, 2020, 2021, 2022)),
                r.choice((0, 0, 2, 4)),
                r.choice((0, 1, 1, 2)),
                r.random() < 0.3,
                r.random() < 0.15,
                r.random() < 0.15,
            )
            found += self.files(self, work)
        return found[:count]


def surname(name: str) -> str:
    return name.rsplit(maxsplit=1)[-1]


def last_first(name: str) -> str:
    return f"{surname(name)}, {' '.join(name.split()[:-1])}"


def initial(name: str) -> str:
    return f"{name[0]} {surname(name)}"


def camel(name: str) -> str:
    return f"{name[0]}{surname(name)}"


def joined(title: str, sign: str) -> str:
    return title.replace(" ", sign)


SIZES = ("30x40", "50x70", "40x60", "60x80", "70x100", "24x30")
