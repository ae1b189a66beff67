"""A first look at a folder that may become a store: the pictures in it, and where to find folders."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from time import monotonic

from catalogue.indexing.crawl import crawl
from catalogue.indexing.locating import read_marker
from catalogue.operations.place_rules import PREVIEWED
from catalogue.progress import Cancelled, never_cancelled
from catalogue.records.paths import display_path
from catalogue.settings import Settings

LOOK_SECONDS = 4.0   # a first look; indexing counts to the end
MOST_PATHS = 20_000     # paths that are kept


@dataclass(frozen=True, slots=True)
class FolderSurvey:
    """The result of a first look at a folder. ``whole``: it was completed within its time. ``paths``: of the files,
    as many as are kept."""

    folder: Path
    kinds: tuple[tuple[str, int], ...]
    files: int
    bytes: int
    whole: bool
    paths: tuple[str, ...]
    obstacles: int
    marked: bool

    @property
    def previewed(self) -> tuple[str, ...]:
        """Paths spread evenly over all that are kept."""
        return self.paths[::-(-len(self.paths) // PREVIEWED) or 1]


def folders_in(folder: Path) -> list[Path]:
    """Folders directly below, by name, without hidden ones. Empty if it cannot be read."""
    try:
        return sorted((entry for entry in folder.iterdir() if not entry.name.startswith(".") and entry.is_dir()),
                      key=lambda entry: entry.name.casefold())
    except OSError:  # no such folder, or not ours to see: there is nothing to offer
        return []


def survey_folder(folder: Path, settings: Settings, cancelled: Cancelled = never_cancelled) -> FolderSurvey:
    """Count pictures by suffix, for a few seconds at most, and keep their paths."""
    kinds: Counter[str] = Counter()
    size = obstacles = 0
    paths: list[str] = []
    whole = True
    begun = monotonic()

    def count_obstacle(_: object) -> None:
        nonlocal obstacles
        obstacles += 1

    for path, length, _ in crawl(folder, settings.ignore, count_obstacle):
        kinds[Path(display_path(path)).suffix.lower() or "no suffix"] += 1
        size += length
        if len(paths) < MOST_PATHS:
            paths.append(path)
        if cancelled() or monotonic() - begun > LOOK_SECONDS:
            whole = False
            break
    return FolderSurvey(folder, tuple(kinds.most_common()), sum(kinds.values()), size, whole, tuple(paths), obstacles,
                        read_marker(folder) is not None)


def mounted() -> Iterator[Path]:
    """Folders under which disks and shares usually appear, and the user's home folder."""
    yield Path.home()
    for top in (Path("/Volumes"), Path("/media"), Path("/run/media"), Path("/mnt")):
        for volume in folders_in(top):
            below = folders_in(volume)
            yield from below if top.name == "media" and below else [volume]
