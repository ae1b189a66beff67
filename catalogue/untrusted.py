"""Reading data written by others without trusting it: relative paths in lists, and small files.

Manifests, bags, undo files, sidecars, markers and tables are on disks that anybody may have written to. A path from one
of them is followed only if :func:`unsafe_path` finds nothing wrong, and a file is opened only by :func:`open_regular`.
"""

import errno
import os
import re
import stat
from pathlib import Path
from typing import BinaryIO

MARKER_BYTES = 64 << 10      # a store's marker, a bag's declaration, a log's head: a few hundred bytes by rights
SIDECAR_BYTES = 16 << 20     # XMP may carry a thumbnail
LIST_BYTES = 512 << 20       # manifests, undo files, tables: 100 to 200 bytes a file, millions of files

_LONE_SURROGATE = "[\ud800-\udc7f\udd00-\udfff]"  # no byte of a file name becomes one of these


def unsafe_path(path: str) -> str:
    """Why a relative path, parts separated by ``/``, must not be followed below a root; "" when it may.

    ``path`` is as the system has it, undecodable bytes as surrogates. ``~`` and ``C:`` are plain names here, as they
    are to POSIX; where a list may be written for other systems, ask ``fixity.bag_names.unsafe``.
    """
    parts = path.split("/")
    if path.startswith("/") or ".." in parts:
        return "it leads out of the folder"
    if "\0" in path or re.search(_LONE_SURROGATE, path):
        return "no file can have such a name"
    return "it is not a plain path" if "" in parts or "." in parts else ""


def open_regular(path: Path | str, *, follow: bool = False) -> BinaryIO:
    """A regular file, unbuffered, for reading; ``follow`` allows a link, as for a file that a person named.

    Neither a pipe nor a device makes it wait.

    Raises:
        OSError: it cannot be opened, or is something else than a regular file.
    """
    flags = os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK | os.O_NOCTTY | (0 if follow else os.O_NOFOLLOW)
    try:
        fd = os.open(path, flags)
    except ValueError as error:  # a NUL in the name
        raise OSError(errno.EINVAL, "no file can have such a name") from error
    except OSError as error:
        if error.errno == errno.ELOOP and not follow:
            raise OSError(errno.ELOOP, "it is a link, not a file") from error
        raise
    try:
        if not stat.S_ISREG(os.fstat(fd).st_mode):
            raise OSError(errno.EINVAL, "it is not a regular file")
        return os.fdopen(fd, "rb", buffering=0)
    except BaseException:
        os.close(fd)
        raise


def read_regular(path: Path | str, limit: int, *, follow: bool = False) -> bytes:
    """The bytes of a regular file of at most ``limit`` bytes.

    Raises:
        OSError: as :func:`open_regular`, or it is larger.
    """
    with open_regular(path, follow=follow) as file:
        data = bytearray()
        while len(data) <= limit and (part := file.read(min(1 << 20, limit + 1 - len(data)))):
            data += part
    if len(data) > limit:
        raise OSError(errno.EFBIG, f"it is larger than the {limit:,} bytes such a file may have")
    return bytes(data)


def visible(text: str) -> str:
    """Text as one line that a terminal shows but never interprets.

    Control characters (C0, DEL, C1), line and paragraph separators, bidi controls and undecodable bytes come out as
    ``\\x1b``, ``\\n``, ``\\u202e``. Unicode Technical Report 36, 3.6 and UAX 9 list the characters.
    """
    return text if text.isprintable() else re.sub(_HARMFUL, _escape, text)


def shell_word(text: str) -> str:
    """Text as one word of a command that can be copied from the screen: a name with characters that are not shown, or
    with bytes that are no text, in the form ``$'…'`` of POSIX.1-2024 (2.2.4), which bash and zsh read."""
    if visible(text) == text:
        from shlex import quote  # which no start of the screens needs

        return quote(text)
    return "$'" + "".join("\\" + sign if sign in "\\'" else sign if visible(sign) == sign and sign.isprintable()
                          else "".join(f"\\x{byte:02x}" for byte in os.fsencode(sign)) for sign in text) + "'"


def visible_json(text: str) -> str:
    """Finished JSON with the characters of :func:`visible` as ``\\\\uXXXX``; the value read from it is the same.

    Line breaks between values stay: within strings JSON has none.
    """
    return re.sub(_HARMFUL_IN_JSON, lambda match: f"\\u{ord(match[0]):04x}", text)


# C0, DEL and C1; soft hyphen's kin that change how neighbours are read: UAX 9's embeddings, overrides, isolates and
# marks, the deprecated shaping controls, separators of lines, byte-order mark, interlinear notes; surrogates
_CONTROLS = ("\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u206f\ufeff\ufff9-\ufffb\ud800-\udfff")
_HARMFUL = f"[\0-\x1f{_CONTROLS}]"
_HARMFUL_IN_JSON = f"[{_CONTROLS}]"
_SHORT = {"\n": "\\n", "\r": "\\r", "\t": "\\t"}


def _escape(match: re.Match[str]) -> str:
    sign = match[0]
    code = ord(sign)
    if 0xDC80 <= code <= 0xDCFF:  # an undecodable byte of a file name
        return f"\\x{code - 0xDC00:02x}"
    return _SHORT.get(sign) or (f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}")
