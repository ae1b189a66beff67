"""Faults met in decoding the segments of one image, collected into few findings."""

import os
import re
from dataclasses import dataclass, field

from catalogue.errors import one_line
from catalogue.reading.digests import ReadFailed
from catalogue.reading.model import ANOTHER_COPY, Fault, FaultFound

# How codecs and libraries say that they cannot, rather than that the data are wrong. libjpeg's "Unsupported marker
# type" is its word for a byte that can be no marker.
UNSUPPORTED = re.compile(
    r"not supported|unsupported (?!marker)|not implemented|not configured|no decoder|unknown .*mode", re.I)


@dataclass(slots=True)
class Trouble:
    """Segments that could not be decoded, gathered so that a thousand bad strips make one finding."""

    decoded: int = 0                   # segments decoded at least in part
    missing: int = 0                   # not wholly inside the file
    failed: int = 0                    # there, but the codec refused them
    unread: list[ReadFailed] = field(default_factory=list)
    first_missing: int | None = None
    first_failed: int | None = None
    reason: str = ""
    unsupported: str = ""              # why no codec was found for a segment, which says nothing of its data
    finished: bool = False             # every segment was asked for

    @property
    def clean(self) -> bool:
        """Whether nothing has gone wrong so far."""
        return not (self.missing or self.failed or self.unread or self.unsupported)

    def note_missing(self, offset: int, once: int = 0) -> None:
        """A segment that is not wholly inside the file; one already counted for earlier rows (``once``) is ignored."""
        if self.first_missing is None:
            self.first_missing = offset
        self.missing += 0 if once and self.missing else 1

    def note_failed(self, error: Exception, offset: int | None) -> None:
        """A segment at ``offset`` that a codec refused."""
        if is_unsupported(error):
            self.unsupported = self.unsupported or one_line(error)
            return
        self.failed += 1
        if not self.reason:
            self.reason, self.first_failed = one_line(error), offset

    def faults(self, total: int, cut_known: bool) -> tuple[FaultFound, ...]:
        """The findings. ``cut_known``: the structure check has already reported missing segments."""
        problems = []
        if self.unread:
            problems.append(FaultFound(Fault.UNREADABLE, str(self.unread[0]),
                                       "the medium may be failing: copy what can "
                                    "be read, then replace it", self.unread[0].offset))
        if self.missing and not cut_known:
            problems.append(FaultFound(Fault.TRUNCATED, f"{self.missing:,} of {total:,} segments are incomplete",
                                    ANOTHER_COPY, self.first_missing))
        failed, reason = self.failed, self.reason
        if self.unsupported and self.decoded:   # the others of the same kind were decoded
            failed, reason = failed + 1, reason or self.unsupported
        elif self.unsupported:
            problems.append(FaultFound(Fault.UNDECODED, self.unsupported))
        if failed:
            share = f"{failed:,} of {total:,} segments cannot be" if total > 1 else "its pixel data cannot be"
            problems.append(FaultFound(Fault.DAMAGED, f"{share} decoded: {reason}",
                                    ANOTHER_COPY, self.first_failed))
        if self.finished and not self.decoded and self.clean:
            problems.append(FaultFound(Fault.DAMAGED, "all its segments are empty"))
        return tuple(problems)


class TooBig(Exception):
    """A segment would need more memory than ``Limits.held_bytes``."""


def is_unsupported(error: BaseException) -> bool:
    """Whether a decoder's error means that it has no way to decode such data, not that the data are damaged."""
    return isinstance(error, (ImportError, NotImplementedError)) or UNSUPPORTED.search(str(error)) is not None


def read_at(fd: int, count: int, offset: int) -> bytes:
    """Up to ``count`` bytes from ``offset``; fewer at the file's end. Raises ``ReadFailed``."""
    try:
        data = os.pread(fd, count, offset)
    except OSError as error:
        raise ReadFailed(offset, error) from error
    while len(data) < count:  # the system gives at most 2 GiB, and less where it likes
        try:
            more = os.pread(fd, count - len(data), offset + len(data))
        except OSError as error:
            raise ReadFailed(offset + len(data), error) from error
        if not more:
            break
        data += more
    return data
