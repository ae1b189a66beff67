"""Of several files with the same bytes, the one whose path says best what they are."""

from pathlib import PurePosixPath

from catalogue.records.folding import fold_name


def numbered_twin(path: str) -> str:
    """The path without the `` (2)`` that told it from another of the same name."""
    pure = PurePosixPath(path)
    stem, bracket, rest = pure.stem.rpartition(" (")
    if bracket and rest.endswith(")") and rest[:-1].isdigit():
        return str(pure.with_name(stem + pure.suffix)) if stem else path
    return path


def path_rank(path: str, artist: str, title: str) -> tuple[int, int, bool, int]:
    """Lower is better: a path, and folders above all, that name artist and title ("" where the scan has no piece), a
    name that is no `` (2)`` of another's, and few folders."""
    names = [fold_name(name) for name in (artist, title) if name]
    named, in_folders = (sum(name in fold_name(where) for name in names) for where in (path, path.rpartition("/")[0]))
    return -named, -in_folders, numbered_twin(path) != path, len(PurePosixPath(path).parts)
