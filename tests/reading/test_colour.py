"""Colours against littleCMS (Pillow's ImageCms) on whole images, and Lab against published values."""

import subprocess
import sys
from io import BytesIO
from pathlib import Path

import imagecodecs
import numpy as np
import pytest
import skimage.color
import tifffile
from PIL import Image, ImageCms

from catalogue.reading.colour import UnusableProfile, to_srgb
from catalogue.reading.file import read_file
from catalogue.reading.model import Fault
from catalogue.reading.profile import describe
from catalogue.reading.reduce import Reducer, area_average, turned
from tests.files import SRGB
from tests.photographs import photograph

from . import profiles


@pytest.fixture(scope="module")
def pictures() -> list[np.ndarray]:
    """Whole photographs from scikit-image's wheel, and one of every combination of 33 levels a channel."""
    levels = np.linspace(0, 255, 33).round().astype(np.uint8)
    cube = np.stack(np.meshgrid(levels, levels, levels, indexing="ij"), axis=-1).reshape(33 * 33, 33, 3)
    return [photograph("astronaut"), photograph("coffee"), photograph("chelsea"), cube]


def littlecms(picture: np.ndarray, icc: bytes, mode: str) -> np.ndarray:
    """littleCMS at 8 bits, relative colorimetric."""
    source = Image.frombytes(mode, (picture.shape[1], picture.shape[0]), np.ascontiguousarray(picture).tobytes())
    done = ImageCms.profileToProfile(source, ImageCms.getOpenProfile(BytesIO(icc)), ImageCms.createProfile("sRGB"),
                                     renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC, outputMode="RGB",
                                     flags=ImageCms.Flags.NOOPTIMIZE)  # its shortcut tables are off by up to 6
    return np.asarray(done).astype(int)


@pytest.mark.parametrize("name", ["WIDE", "ROMM", "NTSC", "SRGB_LIKE"])
def test_matrix_profiles_against_littlecms(name: str, pictures: list[np.ndarray]) -> None:
    """From 16 bits, and from 8 as Pillow has littleCMS do it: at most one level apart, on every pixel."""
    icc = getattr(profiles, name)
    for picture in pictures:
        ours = to_srgb((picture / np.float32(255)).astype(np.float32), "RGB", icc).astype(int)
        assert np.abs(ours - littlecms(picture, icc, "RGB")).max() <= 1


def test_littlecms_own_srgb_is_the_identity(pictures: list[np.ndarray]) -> None:
    for picture in pictures:
        ours = to_srgb((picture / np.float32(255)).astype(np.float32), "RGB", SRGB).astype(int)
        assert np.abs(ours - picture).max() <= 1


def test_grey_profile_against_littlecms() -> None:
    ramp = np.arange(256, dtype=np.uint8).reshape(16, 16)
    ours = to_srgb((ramp[..., None] / np.float32(255)).astype(np.float32), "grey", profiles.GREY).astype(int)
    assert np.abs(ours - littlecms(ramp, profiles.GREY, "L")).max() <= 1


def test_lab_against_littlecms() -> None:
    """CIELAB at 8 bits through littleCMS' own Lab profile."""
    rng = np.random.default_rng(5)
    stored = np.empty((64, 64, 3), np.uint8)  # Pillow's LAB mode: L 0..255, a and b shifted by 128
    stored[..., 0] = rng.integers(0, 256, (64, 64))
    stored[..., 1:] = rng.integers(88, 168, (64, 64, 2))
    lab = stored.astype(np.float32)
    lab = np.stack([lab[..., 0] * 100 / 255, lab[..., 1] - 128, lab[..., 2] - 128], axis=-1)
    icc = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    signed = stored ^ np.array([0, 128, 128], np.uint8)  # as Pillow unpacks raw LAB bytes
    assert np.abs(to_srgb(lab, "Lab", b"").astype(int) - littlecms(signed, icc, "LAB")).max() <= 1


@pytest.mark.parametrize(
    ("lab", "srgb"),
    # Lab (D50, Bradford) of sRGB red, and of neutral 128: reference sheet, recomputed with scikit-image; libraries
    # differ by up to 0.03.
    [((54.292, 80.812, 69.885), (255, 0, 0)), ((53.585, 0.0, 0.0), (128, 128, 128)), ((100.0, 0, 0), (255, 255, 255))],
)
def test_lab_values_give_known_srgb(lab: tuple[float, float, float], srgb: tuple[int, int, int]) -> None:
    ours = to_srgb(np.array(lab, np.float32).reshape(1, 1, 3), "Lab", b"")[0, 0]
    assert np.abs(ours.astype(int) - srgb).max() <= 1


@pytest.mark.parametrize("deep", [False, True])
def test_a_lab_tiff_looks_like_its_photograph(deep: bool, folder: Path) -> None:
    """A CIELAB TIFF (signed a* and b*, TIFF 6.0 section 23) of a photograph looks like the photograph."""
    photo = photograph("astronaut")[:200, :300]
    lab = d50_lab(photo)
    if deep:
        stored = np.stack([lab[..., 0] * 655.35, lab[..., 1] * 256, lab[..., 2] * 256], -1).round().astype(int)
        stored = (stored & 0xFFFF).astype(np.uint16)
    else:
        stored = np.stack([lab[..., 0] * 2.55, lab[..., 1], lab[..., 2]], -1).round().astype(int)
        stored = (stored & 0xFF).astype(np.uint8)
    path = folder / "lab.tif"
    tifffile.imwrite(path, stored, photometric="cielab", metadata=None)
    reading = read_file(path)
    assert reading.preview and not reading.faults
    shown = np.asarray(Image.open(BytesIO(reading.preview))).astype(int)
    assert np.abs(shown - photo).mean() < 5  # WebP is lossy


def d50_lab(photo: np.ndarray) -> np.ndarray:
    """sRGB to CIELAB D50: scikit-image's XYZ (D65), Bradford to D50, scikit-image's Lab."""
    bradford = np.array([[1.0478112, 0.0228866, -0.0501270], [0.0295424, 0.9904844, -0.0170491],
                         [-0.0092345, 0.0150436, 0.7521316]])  # Lindbloom, D65 to D50
    return np.asarray(skimage.color.xyz2lab(skimage.color.rgb2xyz(photo) @ bradford.T, illuminant="D50"))


def test_cmyk_tiff_goes_through_its_profile(folder: Path) -> None:
    """A CMYK picture with a table profile against littleCMS on the same samples."""
    rng = np.random.default_rng(6)
    blocks = np.kron(rng.integers(0, 256, (6, 8, 4), dtype=np.uint8), np.ones((32, 32, 1), np.uint8))
    icc = profiles.cmyk_profile()
    path = folder / "cmyk.tif"
    tifffile.imwrite(path, blocks, photometric="separated", metadata=None, iccprofile=icc, compression="lzw")
    reading = read_file(path)
    assert reading.faults == () and reading.preview and reading.picture
    assert (reading.picture.photometric, reading.picture.profile_name) == ("CMYK", "Workshop space")
    ours = to_srgb((blocks / np.float32(255)).astype(np.float32), "CMYK", icc).astype(int)
    assert np.abs(ours - littlecms(blocks, icc, "CMYK")).max() <= 1
    shown = np.asarray(Image.open(BytesIO(reading.preview))).astype(int)
    assert np.abs(shown - ours).mean() < 6  # WebP halves the colour resolution


def test_table_profiles_take_more_than_8_bits() -> None:
    """Against littleCMS in float on ink that lies between the levels of 8 bits: each result the nearest level or the
    next. Ink rounded to 8 bits first is further off."""
    ink = np.random.default_rng(7).random((64, 64, 4), dtype=np.float32)
    icc = profiles.cmyk_profile()

    def in_float(values: np.ndarray) -> np.ndarray:
        done = imagecodecs.cms_transform(
            values * np.float32(100), icc, imagecodecs.cms_profile("srgb"), colorspace="cmyk", outcolorspace="rgb",
            outdtype=np.float32, intent=imagecodecs.CMS.INTENT.RELATIVE_COLORIMETRIC,
            flags=imagecodecs.CMS.FLAGS.BLACKPOINTCOMPENSATION | imagecodecs.CMS.FLAGS.NOOPTIMIZE)
        return np.asarray(done) * 255

    wanted = in_float(ink).clip(0, 255)
    assert np.abs(to_srgb(ink, "CMYK", icc) - wanted).max() < 0.6
    assert np.abs(in_float(np.rint(ink * 255) / np.float32(255)).clip(0, 255) - wanted).max() > 1


def test_profile_is_described() -> None:
    about = describe(SRGB)
    opened = ImageCms.getOpenProfile(BytesIO(SRGB)).profile
    assert about.space == opened.xcolor_space
    assert about.name == opened.profile_description
    assert about.white == pytest.approx(opened.media_white_point[0], abs=2e-5)


@pytest.mark.parametrize("icc", [b"nonsense", SRGB[:200], profiles.GREY], ids=["no profile", "cut short", "of grey"])
def test_an_unusable_profile_raises(icc: bytes) -> None:
    with pytest.raises(UnusableProfile):
        to_srgb(np.zeros((2, 2, 3), np.float32), "RGB", icc)


def test_unusable_profile_is_a_finding(painting: np.ndarray, folder: Path) -> None:
    path = folder / "grey-profile.tif"
    tifffile.imwrite(path, painting[:64, :64], photometric="rgb", metadata=None, iccprofile=profiles.GREY)
    reading = read_file(path)
    assert [fault.kind for fault in reading.faults] == [Fault.NO_PROFILE] and reading.preview


@pytest.mark.parametrize("kind", ["assocalpha", "unassalpha"])
def test_alpha_is_laid_on_white(kind: str, folder: Path) -> None:
    """Half-opaque red is the same pink whichever way alpha is stored; the hidden colour does not leak."""
    picture = np.zeros((64, 64, 4), np.uint8)
    picture[..., 0] = 128 if kind == "assocalpha" else 255
    picture[..., 3] = 128
    picture[:32] = (0, 0, 0, 0)
    path = folder / "alpha.tif"
    tifffile.imwrite(path, picture, photometric="rgb", metadata=None, extrasamples=[kind])
    preview = read_file(path).preview
    assert preview
    shown = np.asarray(Image.open(BytesIO(preview))).astype(int)
    assert np.abs(shown[48, 32] - (255, 127, 127)).max() <= 4
    assert np.abs(shown[16, 32] - 255).max() <= 4


def test_float_with_no_numbers_in_it(folder: Path) -> None:
    """A NaN or an infinity darkens its own pixel and no other."""
    picture = np.full((80, 90, 3), 0.5, np.float32)
    picture[40, 50], picture[60, 10] = np.nan, np.inf
    tifffile.imwrite(folder / "float.tif", picture, photometric="rgb", metadata=None)
    reading = read_file(folder / "float.tif")
    assert reading.preview
    shown = np.asarray(Image.open(BytesIO(reading.preview))).astype(int)
    assert np.abs(shown[:30] - 128).max() <= 3 and np.median(np.abs(shown - 128)) <= 2


def test_palette_and_white_is_zero(folder: Path) -> None:
    index = np.tile(np.arange(16, dtype=np.uint8), (16, 4))
    table = np.linspace(0, 65535, 256 * 3).astype(np.uint16).reshape(3, 256)
    tifffile.imwrite(folder / "palette.tif", index, photometric="palette", colormap=table, metadata=None)
    tifffile.imwrite(folder / "white.tif", index * 17, photometric="miniswhite", metadata=None)
    found = read_file(folder / "palette.tif")
    assert found.preview and found.picture and found.picture.photometric == "palette"
    shown = np.asarray(Image.open(BytesIO(found.preview))).astype(int).mean(axis=(0, 1))
    assert np.abs(shown - (table[:, :16].mean(axis=1) / 257)).max() < 6
    white = read_file(folder / "white.tif").preview
    assert white
    assert np.asarray(Image.open(BytesIO(white)).convert("L"))[8, 0] > 240


@pytest.mark.parametrize("shape", [(1, 1), (1, 5000), (3000, 2), (1023, 1025), (1100, 2300), (777, 1999)])
@pytest.mark.parametrize("kind", [np.uint8, np.uint16, np.float32])
def test_area_average_is_exact(shape: tuple[int, int], kind: type) -> None:
    """Against the definition: the integral image interpolated at the output's edges."""
    rng = np.random.default_rng(8)
    picture = (rng.random((*shape, 3)) * (255 if kind is np.uint8 else 65535)).astype(kind)
    reducer = Reducer(shape[1], shape[0], 3, 512)
    for top in range(0, shape[0], 100):
        reducer.add(picture[top : top + 100])
    out = reducer.result()
    expected = by_definition(picture.astype(np.float64), out.shape[0], out.shape[1])
    scale = max(1.0, float(picture.max()))
    assert np.abs(out - expected).max() / scale < 2e-4


@pytest.mark.parametrize(("width", "count"), [(1023, 1000), (8191, 1024), (1600, 1024), (12_001, 1024), (513, 512)])
@pytest.mark.parametrize("channels", [1, 3, 4, 5])
def test_lines_are_averaged_exactly(width: int, count: int, channels: int) -> None:
    """Also where a part has less than a thousandth of a pixel, and with more channels than OpenCV takes at once."""
    lines = np.random.default_rng(3).random((2, width, channels)).astype(np.float32)
    assert np.abs(area_average(lines, count) - by_definition(lines.astype(np.float64), 2, count)).max() < 1e-6


def by_definition(picture: np.ndarray, rows: int, columns: int) -> np.ndarray:
    """Mean over each output pixel's area, rows then columns."""
    for axis, count in ((0, rows), (1, columns)):
        length = picture.shape[axis]
        overlap = np.zeros((count, length))
        edges = np.linspace(0, length, count + 1)
        for i in range(count):
            cells = np.arange(length)
            overlap[i] = np.clip(np.minimum(cells + 1, edges[i + 1]) - np.maximum(cells, edges[i]), 0, 1)
        overlap /= overlap.sum(axis=1, keepdims=True)
        picture = np.moveaxis(np.tensordot(overlap, picture, axes=(1, axis)), 0, axis)
    return picture


def test_reduction_close_to_opencv() -> None:
    """OpenCV's own INTER_AREA on the whole picture."""
    import cv2

    photo = np.kron(photograph("astronaut"), np.ones((3, 3, 1), np.uint8))[:1400, :1533]
    reducer = Reducer(1533, 1400, 3, 1024)
    reducer.add(photo)
    whole = cv2.resize(photo.astype(np.float32), (reducer.out_width, reducer.out_height), interpolation=cv2.INTER_AREA)
    assert np.abs(reducer.result() - whole).max() < 0.6


def test_hashes_are_imagehashs_own(painting: np.ndarray, folder: Path) -> None:
    """Each of the eight hashes is imagehash's phash of the preview's pixels turned that way by Pillow."""
    import imagehash

    from catalogue.reading.preview import hashes

    for entry in hashes(painting):
        upright = Image.fromarray(painting)
        assert entry.value == str(imagehash.phash(turned_by_pillow(upright, entry.orientation)))
        assert np.array_equal(np.asarray(turned_by_pillow(upright, entry.orientation)),
                              turned(painting, entry.orientation))
    assert len({entry.value for entry in hashes(painting)}) == 8


def test_hashes_of_plain_and_even_pictures_are_imagehashs_own() -> None:
    """There frequencies are exactly nought, and rounding must not make bits of them; imagehash as the reference."""
    import imagehash

    from catalogue.reading.preview import hashes

    ramp = np.arange(32, dtype=np.uint8) * 8
    plain = [np.full((32, 32), level, np.uint8) for level in (0, 127, 255)]
    ramps = [np.tile(ramp, (32, 1)), np.add.outer(ramp // 2, ramp // 2), np.add.outer(ramp // 2, ramp[::-1] // 2)]
    frames = [np.pad(np.full((32 - 2 * n,) * 2, 50, np.uint8), n, constant_values=200) for n in range(1, 12)]
    chess = [(np.indices((32, 32)).sum(0) % 2 * 255).astype(np.uint8)]
    for grey in (*plain, *ramps, *frames, *chess, *(photograph(name)[:256, :256, 0] for name in ("coffee", "chelsea"))):
        picture = np.dstack([grey] * 3)
        for entry in hashes(picture):
            turned_picture = turned_by_pillow(Image.fromarray(picture), entry.orientation)
            assert entry.value == str(imagehash.phash(turned_picture))


def test_hashing_a_picture_loads_no_scipy() -> None:
    """It took a quarter of a second of every process that reads a picture, and of a search for a photo."""
    code = ("import sys, numpy as np; from catalogue.reading.preview import hashes; "
            "hashes(np.zeros((64, 64, 3), np.uint8)); print('scipy' in sys.modules)")
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert done.stdout.strip() == "False"


def turned_by_pillow(image: Image.Image, orientation: int) -> Image.Image:
    """Pillow's transposition for an Exif orientation."""
    method = {2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180, 4: Image.Transpose.FLIP_TOP_BOTTOM,
              5: Image.Transpose.TRANSPOSE, 6: Image.Transpose.ROTATE_270, 7: Image.Transpose.TRANSVERSE,
              8: Image.Transpose.ROTATE_90}.get(orientation)
    return image if method is None else image.transpose(method)
