"""The shop's settings, read from ``settings.toml`` in the catalogue folder; every value has a default."""

import os
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from catalogue.errors import CatalogueError
from catalogue.untrusted import read_regular

ENVIRONMENT = "CATALOGUE_HOME"
FILE_BYTES = 1 << 20
RENAMED = {"minimum_copies": "copies_wanted"}   # the name that settings files of earlier versions give it


class Bed(NamedTuple):
    """A scanner's bed: its sides in mm, in either order."""

    name: str
    size_mm: tuple[int, int]


@dataclass(frozen=True, slots=True)
class Settings:
    """One shop's choices.

    ``place_rules`` are tried in order on a file's path relative to its store; the first that fits names artist and
    piece where the metadata does not; what fits none is guessed from the whole tree of folders. ``{artist}``,
    ``{piece}``, ``{year}`` and ``{number}`` (an inventory number) match one path part or a stretch of one, ``*`` any
    stretch within a part, ``**`` any number of whole parts. ``{series}`` names a series; ``{job}`` and ``{ignore}``
    are folders that name neither. ``{artist=Ada Quill}`` matches that very name. What a rule does not name is guessed.
    """

    place_rules: tuple[str, ...] = ()     # none: names are guessed from the whole tree of folders
    ignore: tuple[str, ...] = (".*", "._*", "Thumbs.db", "@eaDir", "#recycle", "lost+found", "$RECYCLE.BIN",
                               "System Volume Information")
    workers: int = 0                      # 0: as many as processors
    print_ppi: tuple[int, ...] = (300, 240, 200, 150)
    currency: str = "EUR"
    dates: str = "%d %b %Y"
    open_with: str = ""                   # "" : what the system opens pictures with
    naming_rule: str = "{artist}/{piece}/{artist} - {piece} - {role}{number} - {date}{suffix}"
    bed_mm: tuple[int, int] = (297, 420)  # the scanner's bed
    beds: tuple[str, ...] = ()            # further beds, such as "A2 bed 420x594": name and sides in mm
    tile_overlap: float = 0.25            # share of a tile that overlaps its neighbour; from memory, 20 to 30 %
    backups_kept: int = 14
    copies_wanted: int = 2
    copies_on_one_disk: bool = False      # true: stores on one disk count as different places
    read_only: bool = False               # a second workstation on a copied catalogue: look, change nothing
    theme: str = "dark"                   # of the screens: dark or light
    graphics: str = "auto"                # how pictures are drawn: as well as the terminal can, or one of GRAPHICS
    connection: str = "auto"              # to the terminal: measured, or "fast" or "slow", which has smaller pictures
    audit_days: int = 180                 # every file is to be audited once in so many days
    print_folder: str = ""                # where print files go; "": said each time
    print_in_stores: bool = False         # true: print files may be put into a store

    @property
    def all_beds(self) -> tuple[Bed, ...]:
        """All beds, the usual one first."""
        from catalogue.allowed_settings import BED

        matches = [match for bed in self.beds if (match := re.fullmatch(BED, bed))]
        return (Bed("usual bed", self.bed_mm), *(Bed(m["name"], (int(m["one"]), int(m["other"]))) for m in matches))


@dataclass(frozen=True, slots=True)
class Home:
    """One catalogue's folder and settings: the database and, beside it, what can be rebuilt from the stores."""

    folder: Path
    settings: Settings = field(default_factory=Settings)

    @property
    def database(self) -> Path:
        return self.folder / "catalogue.sqlite"

    @property
    def settings_file(self) -> Path:
        return self.folder / "settings.toml"

    @property
    def previews(self) -> Path:
        return self.folder / "previews"

    @property
    def features(self) -> Path:
        return self.folder / "features"

    @property
    def backups(self) -> Path:
        return self.folder / "backups"

    @property
    def profiles(self) -> Path:
        return self.folder / "profiles"

    @property
    def sheets(self) -> Path:
        return self.folder / "sheets"

    def preview(self, sha256: str) -> Path:
        """Path of one scan's preview; 256 folders, so that none grows too long to list."""
        return self.previews / sha256[:2] / f"{sha256}.webp"


def default_folder() -> Path:
    """``CATALOGUE_HOME``, else the user's data folder as the system defines it."""
    named = os.environ.get(ENVIRONMENT)
    if named:
        return Path(named).expanduser()
    from platformdirs import user_data_path

    return user_data_path("master-scan-catalogue", appauthor=False)


def find_home(folder: Path | None = None) -> Home:
    """The catalogue in ``folder``, or the user's own; its settings file may be absent.

    Raises:
        CatalogueError: the settings file cannot be read or holds an unknown or ill-typed value.
    """
    path = (folder or default_folder()).expanduser().absolute()
    return Home(path, read_settings(path / "settings.toml"))


def _unreadable(path: Path, reason: object) -> CatalogueError:
    return CatalogueError(f"The settings file cannot be read: {reason}.", hint="Correct or remove it.", path=path)


def read_settings(path: Path) -> Settings:
    """Settings from a TOML file, defaults for what it leaves out.

    Raises:
        CatalogueError: it cannot be read, or settings in it are unknown or not allowed; all of them are named.
    """
    try:
        data = read_regular(path, FILE_BYTES, follow=True)
    except FileNotFoundError:
        return Settings()
    except OSError as error:
        raise _unreadable(path, error.strerror) from error
    import tomllib  # few have a settings file, and every command reads it

    from catalogue.allowed_settings import setting_fault

    try:
        values = tomllib.loads(data.decode("utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
        raise _unreadable(path, error) from error
    values = {RENAMED.get(name, name): value for name, value in values.items()}
    faults = [fault for name, value in values.items() if (fault := setting_fault(name, value))]
    if faults:
        raise CatalogueError(" ".join(faults), hint="Correct the settings file.", path=path)
    taken: dict[str, Any] = {name: tuple(value) if isinstance(value, list) else value for name, value in values.items()}
    return Settings(**taken)
