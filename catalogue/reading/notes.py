"""Judgements useful in the shop, measured against FADGI, Technical Guidelines, September 2016 (paintings and other
two-dimensional art, not prints)."""

from catalogue.reading.model import Fault, FaultFound, Note, Picture

FADGI = "FADGI 2016, paintings and other 2-D art"
LONG_SIDES = {4: 12_000, 3: 10_000, 2: 5_000, 1: 3_000}   # stars → pixels; from two stars up "or 600 ppi of the object"
_STARS = {1: "FADGI one star", 2: "FADGI two stars", 3: "FADGI three stars", 4: "FADGI four stars"}
ENOUGH_PPI = 600
COLOUR_SPACES = ("Adobe RGB (1998)", "ProPhoto RGB", "eciRGB v2")
ODD_ASPECT = 4.0            # a side this many times the other; common practice, no source
SQUARE_WITHIN = 0.005
COLOURLESS = ("grey", "mask", "LogL", "raw mosaic", "linear raw")
SELF_DEFINED = ("CIELAB", "ICCLAB", "ITULAB", "LogLuv")   # carry their own colour meaning
NEED_NO_PROFILE = COLOURLESS + SELF_DEFINED


def profile_fault(picture: Picture, stated_srgb: bool) -> FaultFound | None:
    """``no profile`` for a colour picture that nowhere says what its colours mean."""
    if picture.profile_digest or stated_srgb or picture.photometric in NEED_NO_PROFILE:
        return None
    return FaultFound(
        Fault.NO_PROFILE, "no colour profile is embedded, so its colours are undefined",
        "assign the profile of the scanner or program it came from; until then sRGB is assumed for the preview"
        if picture.photometric != "CMYK"
        else "assign the profile it was separated for; the preview's colours are rough",
    )


def judge(picture: Picture, stated_srgb: bool) -> tuple[Note, ...]:
    """Notes that follow from the description alone."""
    notes = []
    if picture.bits < 16:
        notes.append(Note("below 16 bit", f"{picture.bits} bit per sample",
                          f"{FADGI}: 16 bit for three and four stars"))
    if "srgb" in picture.profile_name.replace(" ", "").casefold() or (stated_srgb and not picture.profile_digest):
        notes.append(Note("sRGB", "stored in sRGB, whose gamut is smaller than that of pigments",
                          f"{FADGI}: {', '.join(COLOUR_SPACES)} for three and four stars"))
    notes += _size_notes(picture)
    short, long = sorted((picture.width, picture.height))
    if long >= ODD_ASPECT * short:
        notes.append(Note("odd aspect", f"{picture.width:,} × {picture.height:,} pixels: one side is "
                          f"{long / short:.1f} times the other"))
    return tuple(notes)


def _size_notes(picture: Picture) -> list[Note]:
    x, y = picture.ppi_x, picture.ppi_y
    notes = []
    if x is None or y is None:
        notes.append(Note("no resolution", "states no pixels per inch, so its physical size is unknown"))
    elif abs(x - y) > SQUARE_WITHIN * max(x, y):
        notes.append(Note("non-square resolution", f"{x:g} ppi across, {y:g} ppi down: its sides in mm and in "
                          "pixels have different proportions"))
    long = max(picture.width, picture.height)
    stars = next((stars for stars, pixels in LONG_SIDES.items() if long >= pixels), 0)
    if x and y and min(x, y) >= ENOUGH_PPI - 0.5:
        return notes
    if stars < 3:
        reaches = f"reaches {_STARS[stars]}" if stars else "is below FADGI one star"
        notes.append(Note("few pixels", f"long side of {long:,} pixels {reaches}",
                          f"{FADGI}: {LONG_SIDES[3]:,} for three stars, or {ENOUGH_PPI} ppi of the object"))
    return notes
