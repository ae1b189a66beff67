"""The kind of a file: by its name for the crawler, by its first bytes for the reader. Imports nothing heavy."""

SUFFIXES = frozenset(
    {".tif", ".tiff", ".btf", ".tf8", ".jpg", ".jpeg", ".jpe", ".png", ".webp", ".psd", ".psb", ".jp2"}
)
HEAD_BYTES = 16  # enough for every signature below


def looks_like_picture(name: str) -> bool:
    """Whether the crawler takes a file of this name. Hidden and AppleDouble (``._x.tif``) names are not taken."""
    leaf = name[name.rfind("/") + 1:]
    dot = leaf.rfind(".")  # not pathlib: a million names are asked in a row
    return dot > 0 and leaf[0] != "." and leaf[dot:].lower() in SUFFIXES


def format_of(head: bytes) -> str:
    """The format the first ``HEAD_BYTES`` bytes promise, or ``""``. Signatures as each standard prints them."""
    if head[:4] in (b"II*\0", b"MM\0*"):
        return "TIFF"
    if head[:4] in (b"II+\0", b"MM\0+"):
        return "BigTIFF"
    if head[:3] == b"\xff\xd8\xff":
        return "JPEG"
    if head[:8] == b"\x89PNG\r\n\x1a\n":
        return "PNG"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "WebP"
    if head[:6] == b"8BPS\0\x01":
        return "PSD"
    if head[:6] == b"8BPS\0\x02":
        return "PSB"
    if head[:12] == b"\0\0\0\x0cjP  \r\n\x87\n" or head[:4] == b"\xff\x4f\xff\x51":
        return "JPEG 2000"
    return ""
