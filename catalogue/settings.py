"""The shop's settings, read from ``settings.toml`` in the catalogue folder; every value has a default."""

import os
import tomllib
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from catalogue.errors import CatalogueError

ENVIRONMENT = "CATALOGUE_HOME"


@dataclass(frozen=True, slots=True)
class Settings:
    """One shop's choices.

    ``place_rules`` are tried in order on a file's path relative to its store; the first that fits names artist and
    piece where the metadata does not. ``{artist}``, ``{piece}``, ``{year}`` and ``{number}`` (an inventory number)
    match one path part or a stretch of one, ``*`` any stretch within a part, ``**`` any number of whole parts.
    """

    place_rules: tuple[str, ...] = (
        "{year}/inv {number} {artist} - {piece}.*",
        "{year}/{artist} - {piece}/**/*",
        "{year}/{artist} - {piece} - *",
        "{year}/{artist} - {piece}.*",
        "{year}/{artist}/{piece}/**/*",
        "{artist}/{piece}/**/*",
        "{artist}/{piece}.*",
    )
    ignore: tuple[str, ...] = (".*", "._*", "Thumbs.db", "@eaDir", "#recycle", "lost+found", "$RECYCLE.BIN",
                               "System Volume Information")
    workers: int = 0                      # 0: as many as processors
    print_ppi: tuple[int, ...] = (300, 240, 200, 150)
    currency: str = "EUR"
    dates: str = "%d %b %Y"
    open_with: str = ""                   # "" : what the system opens pictures with
    naming_rule: str = "{artist}/{piece}/{artist} - {piece} - {role}{number} - {date}{suffix}"
    bed_mm: tuple[int, int] = (297, 420)  # the scanner's bed
    tile_overlap: float = 0.25            # share of a tile that overlaps its neighbour; from memory, 20 to 30 %
    backups_kept: int = 14
    minimum_copies: int = 2
    copies_on_one_disk: bool = False      # true: stores on one disk are different places when sources are removed
    read_only: bool = False               # a second seat on a copied catalogue: look, change nothing
    theme: str = "dark"                   # of the screens: dark or light
    graphics: str = "half blocks"         # or "sharp": ask the terminal at start whether it draws real pictures
    audit_days: int = 180                 # every file is to be audited once in so many days


@dataclass(frozen=True, slots=True)
class Home:
    """Where one catalogue lives: the database and, beside it, what can be made again from the stores."""

    folder: Path
    settings: Settings = field(default_factory=Settings)

    @property
    def database(self) -> Path:
        return self.folder / "catalogue.sqlite"

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
    place = (folder or default_folder()).expanduser().absolute()
    return Home(place, read_settings(place / "settings.toml"))


def read_settings(path: Path) -> Settings:
    """Settings from a TOML file, defaults for what it leaves out."""
    try:
        values = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return Settings()
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise CatalogueError(f"The settings file cannot be read: {error}.", hint="Mend or remove it.",
                             path=path) from error
    return _settings_of(values, path)


def _settings_of(values: dict[str, Any], path: Path) -> Settings:
    defaults = Settings()
    known = {f.name for f in fields(Settings)}
    taken: dict[str, Any] = {}
    for name, value in values.items():
        if name not in known:
            raise CatalogueError(f"Unknown setting {name!r} in {path}.",
                                 hint=f"Known are: {', '.join(sorted(known))}.", path=path)
        wanted = getattr(defaults, name)
        if isinstance(wanted, tuple) and isinstance(value, list) and all(
                isinstance(v, type(wanted[0])) for v in value):
            taken[name] = tuple(value)
        elif isinstance(value, type(wanted)) and isinstance(value, bool) == isinstance(wanted, bool):
            taken[name] = value
        elif isinstance(wanted, float) and isinstance(value, int) and not isinstance(value, bool):
            taken[name] = float(value)
        else:
            raise CatalogueError(f"The setting {name!r} in {path} has the wrong form.",
                                 hint=f"Its default is {wanted!r}.", path=path)
    settings = Settings(**taken)
    if settings.minimum_copies < 1:
        raise CatalogueError(f"The setting 'minimum_copies' in {path} is {settings.minimum_copies}.",
                             hint="Say how many places are to hold every scan: 1 at least, 2 by default.", path=path)
    return settings
