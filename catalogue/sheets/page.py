"""Self-contained HTML pages: templates of this room, everything escaped, pictures as data URIs."""

import base64
from functools import cache
from io import BytesIO
from typing import TYPE_CHECKING

from catalogue.dates import shown_day
from catalogue.ledger import values
from catalogue.settings import Home
from catalogue.untrusted import open_regular

if TYPE_CHECKING:
    from jinja2 import Environment


@cache
def _environment() -> "Environment":
    from jinja2 import Environment, PackageLoader, StrictUndefined

    made = Environment(loader=PackageLoader("catalogue.sheets"), autoescape=True, undefined=StrictUndefined,
                       trim_blocks=True, lstrip_blocks=True)
    made.filters["cm"] = lambda mm: values.shown_mm(round(mm))
    made.filters["day"] = shown_day
    return made


def render(template: str, **facts: object) -> str:
    """A page from a template of this room; all values are escaped."""
    return _environment().get_template(template).render(**facts)


WHOLE = (0.0, 0.0, 1.0, 1.0)


def picture_uri(home: Home, sha256: str, side: int, part: tuple[float, float, float, float] = WHOLE,
                turn: int = 0) -> str:
    """A scan's preview as a data URI, its long side at most ``side`` pixels; empty if none can be read.

    It is turned clockwise by ``turn`` degrees; of that the ``part`` between left, top, right and bottom (fractions).
    """
    from PIL import Image

    try:
        with open_regular(home.preview(sha256)) as file, Image.open(file) as preview:
            picture = preview.convert("RGB")
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):  # what Pillow raises for damaged files
        return ""
    if turn:
        picture = picture.rotate(-turn, expand=True)
    if part != WHOLE:
        left, top = int(part[0] * picture.width), int(part[1] * picture.height)
        picture = picture.crop((left, top, max(left + 1, round(part[2] * picture.width)),
                                max(top + 1, round(part[3] * picture.height))))
    picture.thumbnail((side, side))
    data = BytesIO()
    picture.save(data, "WEBP", quality=80)
    return f"data:image/webp;base64,{base64.b64encode(data.getvalue()).decode()}"
