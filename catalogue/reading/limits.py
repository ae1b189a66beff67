"""Limits on what reading one file may cost: time, memory, size; and the deadline that enforces the time."""

from dataclasses import dataclass
from time import monotonic

MIB = 1 << 20


@dataclass(frozen=True, slots=True)
class Limits:
    """Bounds on the reading of one file. Over a bound the file gets a finding, never a crash.

    The memory bounds are chosen so that a process, libraries included, stays below 300 MiB.
    """

    seconds: float = 3600.0          # for one file; checked between pieces of it
    held_bytes: int = 96 * MIB       # decoded samples of one segment, or of a picture that only decodes whole
    band_bytes: int = 4 * MIB        # of decoded rows aimed at in one step
    pixels: int = 1 << 36            # width × height beyond which the size is called absurd
    segments: int = 1 << 22          # strips or tiles of one image
    pages: int = 2048                # images listed from one file
    metadata_bytes: int = 16 * MIB   # of one profile, XMP packet or other tag that is read
    long_side: int = 0               # px: a JPEG is decoded no finer than this wants; 0: in full


class OutOfTime(Exception):
    """The file took longer than ``Limits.seconds``."""


@dataclass(frozen=True, slots=True)
class Deadline:
    """A moment after which reading stops."""

    at: float

    @classmethod
    def after(cls, seconds: float) -> "Deadline":
        """The moment ``seconds`` from now."""
        return cls(monotonic() + seconds)

    def check(self) -> None:
        """Raise ``OutOfTime`` if the deadline has passed."""
        if monotonic() > self.at:
            raise OutOfTime
