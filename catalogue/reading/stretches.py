"""Which stretches of a file get a digest of their own, and where in the picture each lies."""

from .limits import MIB
from .model import SegmentDigest
from .reduce import spans


def stretch_bytes(size: int) -> int:
    """1 to 4 MiB, so that a file has about a thousand stretches; more where it would have over 4096."""
    return max(MIB, min(4 * MIB, size // 1024), size // 4096)


def plain_stretches(size: int) -> tuple[SegmentDigest, ...]:
    """Stretches that know no place in a picture."""
    return tuple(SegmentDigest(a, b - a, "") for a, b in spans(size, stretch_bytes(size))) if size else ()
