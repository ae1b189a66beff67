"""A likeness and its evidence, in a form that a person can check and the catalogue can store."""

import json
from dataclasses import asdict, dataclass, replace
from enum import StrEnum
from typing import Any

import numpy as np
import numpy.typing as npt

from catalogue.likeness import geometry


class Relation(StrEnum):
    """The relation of scan a to scan b."""

    SAME_BYTES = "same bytes"
    SAME_PIXELS = "same pixels"      # the description differs, the picture does not
    REWORKED = "reworked"            # the same capture, edited, cropped a little or resized
    RESCAN = "re-scan"               # captured again
    TILE = "tile of"                 # a is one overlapping capture of the original that b shows more of
    DETAIL = "detail of"             # a shows a part of b
    NEIGHBOUR = "neighbouring tile"  # each shows what the other does not
    LOOK_ALIKE = "look-alike"        # alike but not the same work: a series, another colourway
    UNSURE = "cannot tell"           # too little detail to say

    @property
    def same_piece(self) -> bool:
        """Whether it means that both scans show one piece."""
        return self not in (Relation.LOOK_ALIKE, Relation.UNSURE)

    @property
    def whole(self) -> bool:
        """Whether it means that both show the whole piece."""
        return self in (Relation.SAME_BYTES, Relation.SAME_PIXELS, Relation.REWORKED, Relation.RESCAN)

    @property
    def partial(self) -> bool:
        """Whether a shows less of the artwork than b."""
        return self in (Relation.TILE, Relation.DETAIL, Relation.NEIGHBOUR)


@dataclass(frozen=True, slots=True)
class ScanFacts:
    """What likeness needs to know of a scan beside its preview. ``width`` and ``height`` are full pixels as shown;
    times are ISO 8601 or empty."""

    sha256: str
    width: int
    height: int
    pixel_digest: str = ""
    bits: int = 8
    ppi: float | None = None
    profile: str = ""
    format: str = ""
    captured: str = ""
    role: str = "unsorted"
    upscaled: bool = False


DELTA_E_SCALE = "(1 is just visible)"   # what a colour difference ΔE00 means in a print; common practice, no source


@dataclass(frozen=True, slots=True)
class Evidence:
    """Everything found about one pair. Shares 0–1, angles in degrees, ``matrix`` maps preview pixels of a to b's.

    ``detail_ratio``: full pixels of a for one full pixel of b along the same stretch of the artwork; above 1 a holds
    the artwork finer.
    """

    relation: Relation
    sure: float
    reasons: tuple[str, ...] = ()
    inliers: int = 0
    matches: int = 0
    overlap_a: float = 0.0
    overlap_b: float = 0.0
    rotation: float = 0.0
    scale: float = 1.0
    correlation: float = 0.0
    correlation_low: float = 0.0
    grain: float = 0.0
    texture: float = 0.0
    patch: float = 0.0
    colour_patch: float = 0.0
    hue_turn: float = 0.0
    delta_e_median: float | None = None
    delta_e_high: float | None = None
    detail_ratio: float | None = None
    ppi_a: float | None = None
    ppi_b: float | None = None
    size_a: tuple[int, int] = (0, 0)     # of the previews
    size_b: tuple[int, int] = (0, 0)
    matrix: tuple[float, ...] = (1.0, 0.0, 0.0, 0.0, 1.0, 0.0)

    @property
    def map(self) -> npt.NDArray[np.float64]:
        """``matrix`` as 2×3."""
        return np.array(self.matrix, np.float64).reshape(2, 3)

    def swapped(self) -> "Evidence":
        """The same finding with a and b exchanged."""
        back = geometry.inverse(self.map)
        return replace(
            self, overlap_a=self.overlap_b, overlap_b=self.overlap_a, rotation=geometry.rotation_of(back),
            scale=geometry.scale_of(back), detail_ratio=1 / self.detail_ratio if self.detail_ratio else None,
            ppi_a=self.ppi_b, ppi_b=self.ppi_a, size_a=self.size_b, size_b=self.size_a,
            matrix=tuple(float(v) for v in back.ravel()),
        )

    def to_json(self) -> str:
        """The evidence as one line of JSON, numbers rounded to what they mean."""
        return json.dumps({k: _rounded(v) for k, v in asdict(self).items()}, ensure_ascii=False)

    @classmethod
    def from_json(cls, text: str) -> "Evidence":
        """The evidence written by :meth:`to_json`."""
        values: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in json.loads(text).items()}
        return cls(**{**values, "relation": Relation(values["relation"])})


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 6)
    return [_rounded(v) for v in value] if isinstance(value, tuple) else value
