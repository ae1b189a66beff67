"""Atomic file writes: under a temporary name beside the target, flushed, then renamed.

Everything goes through an open handle on the folder, so neither a link swapped in nor a disk unmounted meanwhile
redirects a write.
"""

import hashlib
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

from catalogue.errors import Busy, CatalogueError, NameTaken, Refused
from catalogue.storage.folders import Entry, OpenFolder, open_folder, read_small, sync
from catalogue.storage.medium import NO_LINKS, failed, flush, make_folders, try_lock, write_all, writing

NAME_EXISTS = "Something with this name already exists."
PART_PREFIX = ".catalogue-part-"


def part_name(name: str) -> str:
    """The temporary name for a target ``name``: hidden, and never too long for the file system."""
    return PART_PREFIX + hashlib.sha256(os.fsencode(name)).hexdigest()[:16]


@contextmanager
def opened(target: Path | Entry) -> Iterator[Entry]:
    """A target's folder held open, created if missing. Raises :class:`CatalogueError`."""
    if isinstance(target, Entry):
        yield target
        return
    with ExitStack() as held:
        with writing(target):
            make_folders(target.parent)
            folder = held.enter_context(open_folder(target.parent))
        yield Entry(folder, target.name)


@contextmanager
def part_folder(target: Path) -> Iterator[OpenFolder]:
    """A new folder under a temporary name beside ``target``, locked; it gets its name on leaving, or is removed.

    One left by a program that was killed is removed first. Raises :class:`Busy` when another program is filling it.
    """
    busy = Busy("Another program is writing to the same name.", hint="Wait until it has finished.", path=target)
    with opened(target) as entry:
        part = entry.folder.entry(part_name(target.name))
        with writing(target):
            _remove_leftover_folder(part, busy)
            try:
                os.mkdir(part.name, dir_fd=entry.folder.fd)
            except FileExistsError as error:
                raise busy from error
            held = part.open(os.O_RDONLY | os.O_DIRECTORY)
        named = False
        try:
            if not try_lock(held):
                raise busy
            yield OpenFolder(held, part.path)
            with writing(target):
                if entry.exists():
                    raise Refused(NAME_EXISTS, path=target)
                part.rename_to(entry)
            named = True
            _confirm(entry)
        except BaseException as error:
            if not named:
                _discard(lambda: shutil.rmtree(part.name, dir_fd=entry.folder.fd), part, error)
            raise
        finally:
            _close(held)


def _remove_leftover_folder(part: Entry, busy: Busy) -> None:
    try:
        fd = part.open(os.O_RDONLY | os.O_DIRECTORY)
    except FileNotFoundError:
        return
    try:
        if not try_lock(fd):
            raise busy
        shutil.rmtree(part.name, dir_fd=part.folder.fd)
    finally:
        _close(fd)


def aside_name(target: Entry, moment: str, state: str = "damaged",
               reusable: Callable[[Entry], bool] = lambda _: False) -> Entry:
    """Where a damaged or former file is kept: beside its place, with a suffix that is no picture's.

    ``moment`` is an ISO 8601 time. A number is added where the name is taken, unless what has it is ``reusable``.
    """
    stamp = "".join(c for c in moment[:19] if c.isalnum())
    number, tail = 1, f".{state}-{stamp}"
    while True:
        stem = os.fsdecode(os.fsencode(target.name)[:255 - len(tail)])
        aside = target.folder.entry(stem + tail)
        if not aside.exists() or reusable(aside):
            return aside
        number += 1
        tail = f".{state}-{stamp}-{number}"


def write_atomically(target: Path | Entry, data: bytes) -> None:
    """Replace a small file in one step, flushed to the medium. Raises :class:`CatalogueError`, ``Busy``."""
    with opened(target) as entry, part_of(entry) as (part, out):
        with writing(entry.path):
            write_all(out, memoryview(data))
            flush(out)
            part.rename_to(entry)
        _confirm(entry)


def write_new(target: Path | Entry, data: bytes) -> None:
    """Write a small file where nothing stands yet, whole or not at all. Raises ``Refused``, ``CatalogueError``.

    An existing file with these exact bytes was left by an earlier call that failed; it is confirmed.
    """
    with opened(target) as entry:
        if read_small(entry, len(data)) == data:
            remove_leftover(entry)  # a kill between the two names leaves both
            _confirm(entry)
            return
        with part_of(entry) as (part, out):
            with writing(entry.path):
                write_all(out, memoryview(data))
                flush(out)
            rename_exclusive(part, entry)


@contextmanager
def staged_file(target: Path) -> Iterator[Path]:
    """A temporary path for another writer, flushed and given its name on leaving; removed when that fails.

    Nothing that is at ``target`` is overwritten. Raises as :func:`write_new`.
    """
    with opened(target) as entry, part_of(entry) as (part, out):
        yield part.path
        with writing(target):
            os.fsync(out)
        rename_exclusive(part, entry)


@contextmanager
def part_of(target: Entry) -> Iterator[tuple[Entry, int]]:
    """The temporary file for ``target``, locked; removed on leaving unless it was renamed."""
    part, out = _create_part(target)
    try:
        yield part, out
    except BaseException as error:
        _discard(lambda: _remove(part, out), part, error)
        raise
    else:
        with writing(target.path):
            _remove(part, out)
    finally:
        _close(out)


def _remove(part: Entry, out: int) -> None:
    if _stands_for(part, out):
        part.unlink()


def _discard(remove: Callable[[], object], part: Entry, error: BaseException) -> None:
    """Clean up after ``error``; if that fails too, add to the error what is left behind."""
    try:
        remove()
    except OSError as removal_error:
        if isinstance(error, CatalogueError):
            error.hint = (f"{error.hint} The unfinished {part.path} could not be removed ({removal_error.strerror});"
                          " the next run to the same name removes it.").lstrip()


def _close(fd: int) -> None:
    with suppress(OSError):  # what had to be on the medium was flushed before, and that was asked about
        os.close(fd)


def _create_part(target: Entry) -> tuple[Entry, int]:
    """A new, locked, empty file; a leftover of a killed program is removed, a living one's left and Busy raised.

    A leftover is unlinked, never emptied: it may be a second name of a file already in place.
    """
    part = target.folder.entry(part_name(target.name))
    for _ in range(8):
        try:
            out = part.open(os.O_RDWR | os.O_CREAT | os.O_EXCL)
        except FileExistsError:
            remove_leftover(target)
            continue
        except OSError as error:
            raise failed(error, target.path) from error
        if try_lock(out) and _stands_for(part, out):
            return part, out
        _close(out)
    raise Busy("Another program is copying to the same name.", hint="Wait until it has finished.", path=target.path)


def remove_leftover(target: Entry) -> None:
    """Remove the temporary file that a killed program left of a copy to ``target``, if there is one.

    Raises :class:`Busy` while another program is copying to the same name.
    """
    part = target.folder.entry(part_name(target.name))
    try:
        fd = part.open(os.O_RDWR)
    except FileNotFoundError:
        return  # its owner has just finished
    except OSError as error:
        raise failed(error, target.path) from error
    try:
        if not try_lock(fd):
            raise Busy("Another program is copying to the same name.", hint="Wait until it has finished.",
                       path=target.path)
        with writing(target.path), suppress(FileNotFoundError):
            _remove(part, fd)
    finally:
        _close(fd)


def _stands_for(entry: Entry, fd: int) -> bool:
    try:
        named = entry.stat()
    except FileNotFoundError:
        return False
    return os.path.samestat(named, os.fstat(fd))


def rename_exclusive(part: Entry, target: Entry) -> None:
    """Rename a finished file to its final name and flush the folder; raises :class:`NameTaken` if the name is taken."""
    with writing(target.path):
        try:
            part.link_to(target)
        except FileExistsError as error:
            raise NameTaken(target.path) from error
        except OSError as error:
            if error.errno not in NO_LINKS:
                raise
            # exFAT and many shares have no hard links; a check just before is the best possible there
            if target.exists():
                raise NameTaken(target.path) from error
            part.rename_to(target)
            _confirm(target)
            return
    _confirm(target)
    try:
        part.unlink()
    except OSError as error:
        raise CatalogueError("The file is in its place, but its temporary second name cannot be removed:"
                             f" {error.strerror}.", hint="Run this again; that removes it.", path=part.path) from error


def rename_over(part: Entry, target: Entry) -> None:
    """Rename a finished file over whatever has its final name, and flush the folder."""
    with writing(target.path):
        part.rename_to(target)
    _confirm(target)


def _confirm(target: Entry) -> None:
    try:
        sync(target.folder.fd)
    except OSError as error:
        raise CatalogueError(f"The file is in its place, but the disk does not confirm it: {error.strerror}.",
                             hint="Check the disk before you rely on the file.", path=target.path) from error
