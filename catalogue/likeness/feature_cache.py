"""Features cached beside the previews, extracted again if missing or of another version."""

from contextlib import suppress
from pathlib import Path
from zipfile import BadZipFile

from catalogue.errors import Busy
from catalogue.likeness.features import Bytes, Features, extract, from_bytes, load_preview
from catalogue.settings import Home
from catalogue.storage.atomic import opened, part_of
from catalogue.storage.medium import write_all, writing


def features_path(home: Home, sha256: str) -> Path:
    """256 folders, as for the previews."""
    return home.features / sha256[:2] / f"{sha256}.npz"


def preview(home: Home, sha256: str) -> Bytes:
    """The scan's preview, H×W×3 uint8 sRGB. Raises ``Damaged`` if it is missing."""
    return load_preview(home.preview(sha256))


def features(home: Home, sha256: str) -> Features:
    """The scan's features, from beside the preview or from the preview itself. Raises as :func:`preview` does."""
    path = features_path(home, sha256)
    try:
        return from_bytes(path.read_bytes())
    except (OSError, ValueError, KeyError, BadZipFile):
        made = extract(preview(home, sha256))
    _write(path, made.to_bytes())
    return made


def _write(path: Path, data: bytes) -> None:
    """Raises :class:`CatalogueError` if the folder cannot be written to."""
    # Busy: another thread or program is writing the same features
    with suppress(Busy), opened(path) as entry, part_of(entry) as (part, out), writing(path):
        write_all(out, memoryview(data))
        part.rename_to(entry)


def index_folder(home: Home) -> Path:
    """Where the index lies."""
    return home.features / "index"
