"""Simulated captures of flat artwork, with exact geometry: re-scans, tiles, details, edits, phone photos, look-alikes.

Everything works on sRGB uint8 H×W×3 arrays and returns the picture with the 3×3 map that takes a point of the
artwork (pixels of the base picture) to the capture (pixels). The same seed gives the same capture.
"""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

Image = npt.NDArray[np.uint8]
Map = npt.NDArray[np.float64]
Rng = np.random.Generator
IDENTITY = np.eye(3)


@dataclass(frozen=True, slots=True)
class Capture:
    """``picture`` and where the artwork lies in it."""

    picture: Image
    place: Map


def zoom(factor: float) -> Map:
    """Resizing by a factor, pixel centres kept straight."""
    s = (factor - 1) / 2
    return np.array([[factor, 0, s], [0, factor, s], [0, 0, 1.0]])


def shrink(picture: Image, factor: float) -> Capture:
    """Area-averaged resize; ``place`` says exactly by how much after rounding to whole pixels."""
    h, w = picture.shape[:2]
    size = (max(1, round(w * factor)), max(1, round(h * factor)))
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC)
    fx, fy = size[0] / w, size[1] / h
    return Capture(small, np.array([[fx, 0, (fx - 1) / 2], [0, fy, (fy - 1) / 2], [0, 0, 1.0]]))


def preview(capture: Capture, side: int = 1024) -> Capture:
    """What reading a file keeps: long side at most 1024 px."""
    factor = side / max(capture.picture.shape[:2])
    if factor >= 1:
        return capture
    small = shrink(capture.picture, factor)
    return Capture(small.picture, small.place @ capture.place)


def relief(shape: tuple[int, ...], seed: int) -> npt.NDArray[np.float32]:
    """Height of canvas and paint, H×W float32: the same for every capture of one artwork."""
    rng = np.random.default_rng(seed)
    h, w = shape[:2]
    fine = cv2.GaussianBlur(rng.standard_normal((h, w)).astype(np.float32), (0, 0), 1.2) * 2.5
    strokes = cv2.resize(
        rng.standard_normal((h // 12 + 2, w // 4 + 2)).astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC
    )
    return fine + 1.5 * strokes


def lit(picture: Image, height: npt.NDArray[np.float32], angle: float, strength: float) -> Image:
    """The picture under raking light from ``angle`` degrees: slopes towards the light brighten."""
    gx, gy = cv2.Sobel(height, cv2.CV_32F, 1, 0), cv2.Sobel(height, cv2.CV_32F, 0, 1)
    slope = np.cos(np.radians(angle)) * gx + np.sin(np.radians(angle)) * gy
    return _bytes(picture * (1 + strength * slope / 8)[..., None])


def toned(picture: Image, rng: Rng, strength: float = 1.0) -> Image:
    """Another exposure, gamma, white balance and evenness of light; a little colour cross-talk between sensors."""
    v = (picture / 255.0).astype(np.float32)
    v = v ** float(np.exp(rng.normal(0, 0.10 * strength)))
    v *= (np.exp(rng.normal(0, 0.05 * strength, 3)) * np.exp(rng.normal(0, 0.06 * strength))).astype(np.float32)
    mix = np.eye(3) + rng.normal(0, 0.025 * strength, (3, 3))
    v = v @ (mix / mix.sum(axis=1, keepdims=True)).T.astype(np.float32)
    h, w = v.shape[:2]
    light = cv2.resize(rng.normal(1, 0.03 * strength, (3, 3)).astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC)
    return _bytes(v * light[..., None] * 255)


def noisy(picture: Image, rng: Rng, sigma: float) -> Image:
    """Sensor noise."""
    return _bytes(picture + rng.standard_normal(picture.shape).astype(np.float32) * sigma)


def jpeg(picture: Image, quality: int) -> Image:
    """Through JPEG and back."""
    ok, data = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert ok
    return np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1])


def _bytes(v: npt.NDArray[np.floating]) -> Image:
    return np.clip(np.round(v), 0, 255).astype(np.uint8)


def scan(
    artwork: Image, seed: int, rng: Rng, *, turn: float = 0.0, factor: float = 1.0, strength: float = 1.0
) -> Capture:
    """One capture of the whole artwork on the scanner: turned, with the bed showing round it or a margin lost."""
    lit_work = lit(artwork, relief(artwork.shape, seed), rng.uniform(0, 360), 0.02 + 0.06 * strength * rng.random())
    h, w = artwork.shape[:2]
    a = np.radians(turn)
    stretch = 1 + rng.normal(0, 0.0007)
    m = np.array(
        [
            [np.cos(a) * factor * stretch, -np.sin(a) * factor, 0],
            [np.sin(a) * factor * stretch, np.cos(a) * factor, 0],
            [0, 0, 1.0],
        ]
    )
    box = (m @ np.array([[0, w, w, 0], [0, 0, h, h], [1, 1, 1, 1.0]]))[:2]
    margin = rng.uniform(-0.02, 0.02) * max(w, h) * factor  # below nought the edge is cut off
    low, high = box.min(axis=1) - margin, box.max(axis=1) + margin
    m[:2, 2] -= low
    size = (round(high[0] - low[0]), round(high[1] - low[1]))
    work = cv2.GaussianBlur(lit_work, (0, 0), 0.5 / factor) if factor < 0.9 else lit_work
    bed = tuple(int(x) for x in rng.integers(200, 250, 1).repeat(3))
    out = cv2.warpAffine(work, m[:2], size, flags=cv2.INTER_CUBIC, borderValue=bed)
    out = toned(out, rng, strength)
    blur = rng.uniform(0, 0.9)
    if blur > 0.3:
        out = cv2.GaussianBlur(out, (0, 0), blur)
    return Capture(noisy(out, rng, rng.uniform(0.5, 2.5)), m)


def rescan(artwork: Image, seed: int, rng: Rng) -> Capture:
    """Captured anew: any quarter turn, a little askew, another size, light and colour; sometimes kept as JPEG."""
    turn = float(rng.choice([0, 0, 90, 180, 270])) + rng.normal(0, 0.8)
    made = scan(artwork, seed, rng, turn=turn, factor=rng.uniform(0.6, 1.0))
    picture = made.picture
    if rng.random() < 0.3:
        picture = wrong_profile(picture, rng)
    if rng.random() < 0.4:
        picture = jpeg(picture, int(rng.integers(80, 96)))
    return Capture(picture, made.place)


def wrong_profile(picture: Image, rng: Rng) -> Image:
    """Colours of a wider space shown as if they were sRGB: paler, a little off in hue."""
    k = rng.uniform(0.15, 0.35)
    mix = np.array([[1 - k, k * 0.9, k * 0.1], [k * 0.15, 1 - k * 0.2, k * 0.05], [k * 0.05, k * 0.15, 1 - k * 0.2]])
    return _bytes(((picture / 255.0) ** 2.2 @ mix.T) ** (1 / 2.2) * 255)


def tile(artwork: Image, seed: int, rng: Rng, box: tuple[float, float, float, float]) -> Capture:
    """One overlapping capture of a part; ``box`` is x, y, width, height as fractions."""
    h, w = artwork.shape[:2]
    x, y, tw, th = round(box[0] * w), round(box[1] * h), round(box[2] * w), round(box[3] * h)
    a = np.radians(rng.normal(0, 0.3) + (90 * rng.integers(1, 4) if rng.random() < 0.15 else 0))
    lit_work = lit(artwork, relief(artwork.shape, seed), rng.uniform(0, 360), 0.02 + 0.03 * rng.random())
    quarter = round(np.degrees(a) / 90) % 2
    size = (th, tw) if quarter else (tw, th)
    m = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1.0]])
    centre = m @ np.array([x + tw / 2, y + th / 2, 1])
    m[:2, 2] = np.array(size) / 2 - centre[:2]
    out = cv2.warpAffine(lit_work, m[:2], size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return Capture(noisy(toned(out, rng, 0.5), rng, rng.uniform(0.5, 2)), m)


def detail(artwork: Image, rng: Rng) -> Capture:
    """A part shown on a page of the web: cropped, made small, JPEG."""
    h, w = artwork.shape[:2]
    share = rng.uniform(0.3, 0.6)
    tw, th = round(w * share), round(h * share * rng.uniform(0.8, 1.2))
    th = min(th, h)
    x, y = int(rng.integers(0, w - tw + 1)), int(rng.integers(0, h - th + 1))
    cut = Capture(artwork[y : y + th, x : x + tw], np.array([[1, 0, -x], [0, 1, -y], [0, 0, 1.0]]))
    small = shrink(toned(cut.picture, rng, 0.7), min(1.0, rng.uniform(420, 900) / max(tw, th)))
    return Capture(jpeg(small.picture, int(rng.integers(70, 92))), small.place @ cut.place)


def reworked(capture: Capture, rng: Rng) -> Capture:
    """The same capture edited for output: curve, saturation, sharpening, crop, size, quarter turn."""
    v = (capture.picture / 255.0).astype(np.float32)
    grey = v.mean(axis=2, keepdims=True)
    v = np.clip(grey + (v - grey) * rng.uniform(0.85, 1.3), 0, 1) ** float(rng.uniform(0.85, 1.2))
    picture = _bytes(np.clip((v - 0.5) * rng.uniform(0.95, 1.15) + 0.5 + rng.normal(0, 0.02), 0, 1) * 255)
    place = capture.place
    if rng.random() < 0.5:
        h, w = picture.shape[:2]
        left, top, right, low = (int(rng.uniform(0, 0.05) * n) for n in (w, h, w, h))
        picture = picture[top : h - low, left : w - right]
        place = np.array([[1, 0, -left], [0, 1, -top], [0, 0, 1.0]]) @ place
    if rng.random() < 0.3:
        h = picture.shape[0]
        picture = np.ascontiguousarray(np.rot90(picture, -1))
        place = np.array([[0, -1, h - 1], [1, 0, 0], [0, 0, 1.0]]) @ place
    small = shrink(picture, rng.uniform(0.4, 1.0))
    soft = cv2.GaussianBlur(small.picture, (0, 0), 1.0).astype(np.float32)
    sharp = _bytes(small.picture + rng.uniform(0, 0.5) * (small.picture - soft))
    return Capture(jpeg(sharp, int(rng.integers(82, 97))) if rng.random() < 0.6 else sharp, small.place @ place)


def sibling(artwork: Image, other: Image, rng: Rng) -> Image:
    """Another work of the same series: the same ground and composition, several passages painted differently."""
    h, w = artwork.shape[:2]
    out = artwork.copy()
    source = cv2.resize(other, (w, h), interpolation=cv2.INTER_AREA)
    for _ in range(int(rng.integers(2, 6))):
        bw, bh = int(w * rng.uniform(0.10, 0.25)), int(h * rng.uniform(0.10, 0.25))
        x, y = int(rng.integers(0, w - bw)), int(rng.integers(0, h - bh))
        sx, sy = int(rng.integers(0, w - bw)), int(rng.integers(0, h - bh))
        patch = source[sy : sy + bh, sx : sx + bw].astype(np.float32)
        here = out[y : y + bh, x : x + bw].astype(np.float32)
        patch += 0.7 * (here.mean(axis=(0, 1)) - patch.mean(axis=(0, 1)))
        mask = np.zeros((bh, bw), np.float32)
        cv2.ellipse(mask, (bw // 2, bh // 2), (bw * 2 // 5, bh * 2 // 5), 0, 0, 360, 1.0, -1)
        mask = cv2.GaussianBlur(mask, (0, 0), max(1.0, min(bw, bh) / 25))[..., None]
        out[y : y + bh, x : x + bw] = _bytes(here * (1 - mask) + patch * mask)
    return out


def recoloured(artwork: Image, rng: Rng) -> Image:
    """The same drawing in another colourway: hues turned, or the channels exchanged."""
    if rng.random() < 0.3:
        return np.ascontiguousarray(artwork[..., rng.permutation([[1, 2, 0], [2, 0, 1], [0, 2, 1]])[0]])
    hsv = cv2.cvtColor(artwork, cv2.COLOR_RGB2HSV)
    hsv[..., 0] = (hsv[..., 0].astype(int) + int(rng.integers(25, 156))) % 180
    return cv2.cvtColor(hsv, cv2.COLOR_HSV2RGB)


def phone_photo(artwork: Image, rng: Rng) -> Capture:
    """A framed print on a wall, photographed askew at about a megapixel, with a reflection of a lamp."""
    h, w = artwork.shape[:2]
    frame = round(max(h, w) * rng.uniform(0.02, 0.08))
    mount = round(max(h, w) * rng.uniform(0.0, 0.08))
    framed = cv2.copyMakeBorder(artwork, *([mount] * 4), cv2.BORDER_CONSTANT, value=(240, 238, 232))
    framed = cv2.copyMakeBorder(
        framed, *([frame] * 4), cv2.BORDER_CONSTANT, value=tuple(int(x) for x in rng.integers(10, 120, 3))
    )
    fh, fw = framed.shape[:2]
    out_w, out_h = (1155, 866) if w >= h else (866, 1155)
    fill = rng.uniform(0.55, 0.9)
    s = min(out_w / fw, out_h / fh) * fill
    a = np.radians(rng.normal(0, 4))
    c = np.array([out_w / 2, out_h / 2]) + rng.normal(0, 0.03, 2) * out_w
    quad = np.array([[-fw, -fh], [fw, -fh], [fw, fh], [-fw, fh]]) * s / 2
    quad = quad @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + c
    quad += rng.normal(0, 0.035, (4, 2)) * s * max(fw, fh)
    m = cv2.getPerspectiveTransform(np.array([[0, 0], [fw, 0], [fw, fh], [0, fh]], np.float32), quad.astype(np.float32))
    wall = np.full((out_h, out_w, 3), rng.integers(120, 220, 3), np.uint8)
    wall = noisy(wall, rng, 6)
    work = cv2.GaussianBlur(framed, (0, 0), max(0.3, 0.4 / s)) if s < 0.8 else framed
    shot = cv2.warpPerspective(work, m, (out_w, out_h), flags=cv2.INTER_LINEAR)
    mask = cv2.warpPerspective(np.full((fh, fw), 255, np.uint8), m, (out_w, out_h))
    picture = np.where(mask[..., None] > 127, shot, wall)
    glare = np.zeros((out_h, out_w), np.float32)
    gx, gy = rng.uniform(0.25, 0.75) * out_w, rng.uniform(0.25, 0.75) * out_h
    cv2.ellipse(
        glare, ((gx, gy), (out_w * rng.uniform(0.1, 0.3), out_h * rng.uniform(0.05, 0.2)), rng.uniform(0, 180)), 1.0, -1
    )
    glare = cv2.GaussianBlur(glare, (0, 0), out_w * 0.03) * rng.uniform(0.3, 0.8)
    picture = _bytes(picture + (255 - picture.astype(np.float32)) * glare[..., None])
    picture = noisy(cv2.GaussianBlur(toned(picture, rng, 1.5), (0, 0), rng.uniform(0.4, 1.1)), rng, rng.uniform(2, 5))
    shift = np.array([[1, 0, frame + mount], [0, 1, frame + mount], [0, 0, 1.0]])
    return Capture(jpeg(picture, int(rng.integers(70, 90))), m @ shift)
