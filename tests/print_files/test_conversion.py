"""Colour conversion against littleCMS run by Pillow at 8 bits, and against published values."""

import io

import imagecodecs
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageCms

from catalogue.errors import Refused
from catalogue.print_files.conversion import converter, profile_space
from catalogue.print_files.shaper import EXACT, shaper
from tests.reading.profiles import cmyk_profile, matrix_profile, table

SRGB = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
WIDE = imagecodecs.cms_profile("adobergb")
GREY = imagecodecs.cms_profile("gray", gamma=2.2)
CMYK = cmyk_profile()
RAISED = matrix_profile(((0.64, 0.33), (0.30, 0.60), (0.15, 0.06)), (0.3127, 0.3290),
                        table(0.03 + 0.97 * np.linspace(0, 1, 1024) ** 2.2))
PILLOWS = {"perceptual": 0, "relative": 1, "saturation": 2, "absolute": 3}


def colours() -> NDArray[np.uint8]:
    return np.random.default_rng(4).integers(0, 256, (40, 50, 3)).astype(np.uint8)


@pytest.mark.parametrize("intent", PILLOWS)
@pytest.mark.parametrize("black_point", [True, False])
@pytest.mark.parametrize(("one", "other"), [(SRGB, WIDE), (WIDE, SRGB)], ids=["to wide", "to sRGB"])
def test_as_pillows_littlecms_has_it(intent: str, black_point: bool, one: bytes, other: bytes) -> None:
    eight = colours()
    flags = ImageCms.Flags.NOOPTIMIZE | (ImageCms.Flags.BLACKPOINTCOMPENSATION if black_point else 0)
    reference = ImageCms.profileToProfile(
        Image.fromarray(eight), ImageCms.getOpenProfile(io.BytesIO(one)), ImageCms.getOpenProfile(io.BytesIO(other)),
        renderingIntent=PILLOWS[intent], outputMode="RGB", flags=flags)
    ours = converter("RGB", 8, one, other, intent, black_point)(eight.astype(np.uint16) * 257)
    assert np.abs(ours / 257 - np.asarray(reference, np.float64)).max() <= 0.51     # half a level is Pillow's rounding


def test_inks_are_converted_as_pillows_littlecms_has_them() -> None:
    inks = np.random.default_rng(6).integers(0, 256, (40, 50, 4)).astype(np.uint8)
    reference = ImageCms.profileToProfile(
        Image.fromarray(inks, "CMYK"), ImageCms.getOpenProfile(io.BytesIO(CMYK)),
        ImageCms.getOpenProfile(io.BytesIO(SRGB)), renderingIntent=1, outputMode="RGB",
        flags=ImageCms.Flags.NOOPTIMIZE)
    ours = converter("CMYK", 8, CMYK, SRGB, "relative", False)(inks.astype(np.uint16) * 257)
    assert np.abs(ours / 257 - np.asarray(reference, np.float64)).max() <= 0.51


def test_a_raised_black_goes_to_black_with_compensation_alone() -> None:
    """A profile whose darkest level gives 3 % of its light, against Pillow's littleCMS."""
    eight, found = colours(), []
    eight[0, 0] = 0
    for flag, wanted in ((ImageCms.Flags.BLACKPOINTCOMPENSATION, True), (0, False)):
        reference = ImageCms.profileToProfile(
            Image.fromarray(eight), ImageCms.getOpenProfile(io.BytesIO(RAISED)),
            ImageCms.getOpenProfile(io.BytesIO(SRGB)), renderingIntent=1, outputMode="RGB",
            flags=ImageCms.Flags.NOOPTIMIZE | flag)
        ours = converter("RGB", 8, RAISED, SRGB, "relative", wanted)(eight.astype(np.uint16) * 257)
        assert np.abs(ours / 257 - np.asarray(reference, np.float64)).max() <= 0.51
        found.append(ours[0, 0].max() / 257)
    assert found[0] < 1 and found[1] > 40


@pytest.mark.parametrize(("one", "other"), [(SRGB, WIDE), (WIDE, SRGB), (SRGB, SRGB)],
                         ids=["to wide", "to sRGB", "sRGB to itself"])
def test_the_quick_way_is_littlecms_to_a_level(one: bytes, other: bytes) -> None:
    """At 16 bits, over colours of every lightness and all greys, against littleCMS without its shortcut tables."""
    colour = np.random.default_rng(8).integers(0, 65536, (200, 500, 3)).astype(np.uint16)
    colour >>= np.arange(200, dtype=np.uint16)[:, None, None] % 12
    grey = np.repeat(np.arange(65536, dtype=np.uint16)[:, None], 3, axis=1).reshape(256, 256, 3)
    for picture in (colour, grey):
        exact = imagecodecs.cms_transform(picture, one, other, colorspace="rgb", outcolorspace="rgb", intent=1,
                                          flags=int(EXACT))
        assert shaper(one, other, lambda p: exact_of(p, one, other)) is not None
        quick = converter("RGB", 16, one, other, "relative", True)(picture)
        assert np.abs(quick.astype(int) - exact).max() <= 1


def exact_of(picture: NDArray[np.uint16], one: bytes, other: bytes) -> NDArray[np.uint16]:
    return np.asarray(imagecodecs.cms_transform(picture, one, other, colorspace="rgb", outcolorspace="rgb", intent=1,
                                                flags=int(EXACT)))


def test_the_quick_way_is_left_where_it_departs() -> None:
    """As for absolute colorimetry between two whites, or whatever a profile has besides matrix and curves."""
    assert shaper(SRGB, WIDE, lambda picture: exact_of(picture, SRGB, WIDE) + np.uint16(2)) is None
    assert shaper(GREY, SRGB, lambda picture: picture) is None
    table = SRGB.replace(b"rXYZ", b"A2B0")      # says that it works by tables
    assert shaper(table, SRGB, lambda picture: picture) is None


@pytest.mark.parametrize(("lab", "rgb"), [
    # sRGB under D50 (Bradford): published, libraries differ by up to 0.03
    ((54.292, 80.812, 69.885), (255, 0, 0)), ((53.585, 0.0, 0.0), (128, 128, 128)),
    ((100.0, 0.0, 0.0), (255, 255, 255)), ((0.0, 0.0, 0.0), (0, 0, 0))])
@pytest.mark.parametrize(("space", "bits"), [("CIELAB", 16), ("ICCLAB", 16), ("CIELAB", 8)])
def test_lab_masters_come_out_as_published(lab: tuple[float, ...], rgb: tuple[int, ...], space: str, bits: int) -> None:
    """Encodings: TIFF 6.0 section 23 (a*, b* in units of 1/256 at 16 bits), TIFF Technical Note 4 for ICCLab."""
    white = 65280 if space == "ICCLAB" else 65535
    steps = (np.array(lab) * [white / 100, 256, 256] + [0, 32768, 32768] if bits == 16 else
             np.round(np.array(lab) * [255 / 100, 1, 1] + [0, 128, 128]) * 257)
    channels = np.clip(np.rint(steps), 0, 65535).astype(np.uint16).reshape(1, 1, 3)
    out = converter(space, bits, b"", SRGB, "relative", True)(channels)[0, 0] / 257
    assert np.abs(out - rgb).max() <= (0.5 if bits == 16 else 2.5)


def test_grey_and_colour_go_into_each_other() -> None:
    ramp = np.linspace(0, 65535, 256).astype(np.uint16).reshape(16, 16, 1)
    colour = converter("grey", 16, GREY, SRGB, "relative", True)(ramp)
    assert colour.shape == (16, 16, 3)
    assert (colour.max(axis=2).astype(int) - colour.min(axis=2) <= 64).all()    # neutral
    back = converter("RGB", 16, SRGB, GREY, "relative", True)(colour)
    assert back.shape == ramp.shape
    assert np.abs(back.astype(int) - ramp).max() <= 130     # half an 8-bit level
    assert (colour[0, 0] == 0).all() and (colour[-1, -1] >= 65_500).all()


def test_what_is_no_profile_to_print_with_is_refused() -> None:
    scanner = SRGB[:12] + b"scnr" + SRGB[16:]
    link = SRGB[:12] + b"link" + SRGB[16:]
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    for bad in (b"", b"no profile", SRGB[:100], scanner, link, lab, b"\0" * 4000):
        with pytest.raises(Refused):
            profile_space(bad)
    with pytest.raises(Refused, match="littleCMS"):     # an RGB profile that says it is for CMYK
        converter("RGB", 16, SRGB, SRGB[:16] + b"CMYK" + SRGB[20:], "relative", True)


def test_a_master_whose_profile_is_missing_or_of_another_kind_is_refused() -> None:
    for space, icc in (("RGB", b""), ("RGB", GREY), ("CMYK", SRGB), ("grey", SRGB), ("RGB", b"rubbish" * 40)):
        with pytest.raises(Refused, match="profile"):
            converter(space, 16, icc, SRGB, "relative", True)
