"""A scan's tags as its row holds them."""

import json

from catalogue.reading.model import Metadata, Stated


def metadata_of(text: str) -> Metadata:
    """Metadata from the JSON that a scan's row holds."""
    values = json.loads(text)
    stated = tuple(Stated(**fields) for fields in values.pop("stated", ()))
    return Metadata(**values | {"stated": stated, "conflicts": tuple(values.pop("conflicts", ()))})
