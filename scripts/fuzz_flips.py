"""Flip single bits of compressed picture data, and hold the reader to what the reference decoders refuse.

    python scripts/fuzz_flips.py [--flips 5000] [--seed 1] [--only deflate lzw] [--show]

Each kind of coding is written in several layouts; one bit of its coded data is flipped at a time, and the file is
read by this reader and by the reference decoders: zlib to its end with the checksum, the CRC-32 of every PNG chunk,
tifffile with imagecodecs, Pillow with libtiff, libjpeg-turbo and OpenJPEG. A flip that one of them refuses must be a
finding that makes the file no sound copy. Prints a table; exit 1 if a flip was missed.
"""

import argparse
import io
import random
import sys
import tempfile
import zlib
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import imagecodecs
import numpy as np
import tifffile
from PIL import Image

from catalogue.reading.file import read_file
from catalogue.reading.model import Fault
from catalogue.reading.pil import complaints
from catalogue.reading.trouble import is_unsupported

BAD = {Fault.DAMAGED, Fault.TRUNCATED, Fault.UNREADABLE, Fault.EMPTY, Fault.NOT_A_PICTURE, Fault.UNDECODED}
Decoder = Callable[[bytes], object]


@dataclass(frozen=True)
class Coded:
    """One file, where its coded data lie in it, and who else decodes it. A decoder raises for what it refuses."""

    name: str
    suffix: str
    data: bytes
    stretches: tuple[tuple[int, int], ...]   # offset, bytes
    references: dict[str, Decoder]

    def flips(self) -> int:
        """Bits that can be flipped."""
        return 8 * sum(count for _, count in self.stretches)

    def flipped(self, bit: int) -> bytes:
        """The file with one bit of its coded data changed; ``bit`` counts over all stretches."""
        out = bytearray(self.data)
        for offset, count in self.stretches:
            if bit < 8 * count:
                out[offset + bit // 8] ^= 1 << bit % 8
                return bytes(out)
            bit -= 8 * count
        raise IndexError(bit)


def picture(height: int = 72, width: int = 80) -> np.ndarray:
    """Soft shapes with some grain, H × W × 3, so that every compression has something to do."""
    rng = np.random.default_rng(3)
    y, x = np.mgrid[:height, :width].astype(np.float64)
    planes = [128 + 90 * np.sin(x / 9 + k) * np.cos(y / 11 - k) for k in range(3)]
    grain = rng.integers(-2, 3, (height, width, 3))
    return np.clip(np.stack(planes, axis=2).round() + grain, 0, 255).astype(np.uint8)


def by_tifffile(data: bytes) -> object:
    """tifffile with imagecodecs."""
    with tifffile.TiffFile(io.BytesIO(data)) as tif:
        return tif.pages[0].asarray(maxworkers=1)


def by_pillow(data: bytes) -> None:
    """Pillow: libtiff, libjpeg-turbo, OpenJPEG, its own PNG. What libtiff calls an error on standard error is one."""
    try:
        with complaints() as said, Image.open(io.BytesIO(data)) as image:
            image.load()
    except Exception as error:
        raise ValueError(f"{error} {said}") from error
    if said:
        raise ValueError(said[0])


def by_zlib(stretches: tuple[tuple[int, int], ...]) -> Decoder:
    """Each stretch is one zlib stream (RFC 1950): inflated to its end, Adler-32 compared."""
    def decode(data: bytes) -> None:
        for offset, count in stretches:
            inflate = zlib.decompressobj()
            inflate.decompress(data[offset : offset + count])
            if not inflate.eof:
                raise ValueError("ends before its stream does")

    return decode


def by_chunks(data: bytes) -> None:
    """Every chunk's CRC, and the zlib stream of all IDAT chunks to its end (ISO/IEC 15948, 5.3 and 10.1)."""
    at, coded = 8, b""
    while at < len(data):
        length = int.from_bytes(data[at : at + 4], "big")
        body = data[at + 4 : at + 8 + length]
        if zlib.crc32(body) != int.from_bytes(data[at + 8 + length : at + 12 + length], "big"):
            raise ValueError("CRC")
        coded += body[4:] if body[:4] == b"IDAT" else b""
        at += 12 + length
    inflate = zlib.decompressobj()
    inflate.decompress(coded)
    if not inflate.eof:
        raise ValueError("ends before its stream does")


def tiff(name: str, data: np.ndarray, **layout: object) -> Coded:
    """A TIFF and its segments."""
    out = io.BytesIO()
    photometric = "rgb" if data.ndim == 3 else "minisblack"
    tifffile.imwrite(out, data, photometric=photometric, metadata=None, **layout)  # type: ignore[arg-type]
    return placed(name, out.getvalue(), layout.get("compression") == "zlib")


def placed(name: str, data: bytes, deflate: bool = False) -> Coded:
    """A TIFF's segments looked up, and its reference decoders."""
    with tifffile.TiffFile(io.BytesIO(data)) as tif:
        page = tif.pages[0]
        stretches = tuple(zip(page.dataoffsets, page.databytecounts, strict=True))
    references: dict[str, Decoder] = {"tifffile": by_tifffile, "Pillow": by_pillow}
    if deflate:
        references["zlib"] = by_zlib(stretches)
    return Coded(name, ".tif", data, stretches, references)


def by_pillow_written(suffix: str, mode: str = "RGB", **options: object) -> bytes:
    """A file written by Pillow."""
    out = io.BytesIO()
    kind = {"jpg": "JPEG", "png": "PNG", "jp2": "JPEG2000", "tif": "TIFF"}[suffix]
    Image.fromarray(picture()).convert(mode).save(out, kind, **options)
    return out.getvalue()


def png(data: bytes, start: int = 8) -> Coded:
    """Every byte after the signature belongs to a chunk with a CRC."""
    references: dict[str, Decoder] = {"libpng": imagecodecs.png_decode, "Pillow": by_pillow, "CRC and zlib": by_chunks}
    return Coded("PNG", ".png", data, ((start, len(data) - start),), references)


def jpeg(data: bytes) -> Coded:
    """The entropy-coded data after the start of scan (ISO/IEC 10918-1, B.2.3)."""
    at = data.index(b"\xff\xda")
    references: dict[str, Decoder] = {"libjpeg-turbo": imagecodecs.jpeg8_decode, "Pillow": by_pillow}
    return Coded("JPEG", ".jpg", data, ((at, len(data) - at),), references)


def jpeg_2000(data: bytes) -> Coded:
    """The codestream (ISO/IEC 15444-1, annex A)."""
    at = data.index(b"\xff\x4f\xff\x51")
    references: dict[str, Decoder] = {"OpenJPEG": imagecodecs.jpeg2k_decode, "Pillow": by_pillow}
    return Coded("JPEG 2000", ".jp2", data, ((at, len(data) - at),), references)


def kinds() -> dict[str, list[Coded]]:
    """Every kind of coding, each in some layouts."""
    eight = picture()
    deep = eight.astype(np.uint16) * 257 + 3
    found: dict[str, list[Coded]] = {}
    for name in ("LZW", "Deflate", "PackBits", "Zstd", "LZMA"):
        how = {"Deflate": "zlib"}.get(name, name.lower())
        found[name] = [
            tiff(name, eight, compression=how, rowsperstrip=72), tiff(name, deep, compression=how, rowsperstrip=10),
            tiff(name, eight, compression=how, tile=(32, 32)),
        ]
        if name != "PackBits":
            found[name].append(tiff(name, deep, compression=how, predictor=2, rowsperstrip=72))
    found["JPEG in TIFF"] = [tiff("JPEG", eight, compression="jpeg", rowsperstrip=72),
                             tiff("JPEG", eight[..., 0].copy(), compression="jpeg", tile=(32, 32))]
    found["JPEG 2000 in TIFF"] = [tiff("JPEG 2000", eight, compression="jpeg2000", tile=(64, 64))]
    found["fax"] = [placed("fax", by_pillow_written("tif", "1", compression=how))
                    for how in ("group3", "group4", "tiff_ccitt")]
    found["PNG"] = [*(png(by_pillow_written("png", mode)) for mode in ("RGB", "P", "1")),
                    png(imagecodecs.png_encode(deep))]
    found["JPEG"] = [jpeg(by_pillow_written("jpg")), jpeg(by_pillow_written("jpg", progressive=True)),
                     jpeg(by_pillow_written("jpg", "L", restart_marker_rows=1))]
    found["JPEG 2000"] = [jpeg_2000(by_pillow_written("jp2")), jpeg_2000(imagecodecs.jpeg2k_encode(deep, level=0))]
    return found


def refusals(coded: Coded, data: bytes) -> dict[str, str]:
    """The reference decoders that refuse the file, with their words."""
    found = {}
    for name, decode in coded.references.items():
        try:
            decode(data)
        except Exception as error:
            if not is_unsupported(error):   # a decoder without a way to read it refuses nothing
                found[name] = " ".join(str(error).split())[:80]
    return found


def told(data: bytes, path: Path) -> tuple[bool, str]:
    """Whether this reader finds the file to be no sound copy, and what it says."""
    path.write_bytes(data)
    reading = read_file(path)
    return any(fault.kind in BAD for fault in reading.faults), "; ".join(
        f"{fault.kind.value}: {fault.detail}" for fault in reading.faults if fault.kind is not Fault.NO_PROFILE)


@dataclass
class Outcome:
    """Of one kind of coding: flips tried, refused by each and by any decoder, told and missed by this reader."""

    flips: int
    refused: Counter[str]
    any: int
    told: int
    missed: list[str]


def measure(layouts: list[Coded], flips: int, seed: int, folder: Path) -> Outcome:
    """Flip ``flips`` bits, spread over the layouts; all there are where there are fewer. No bit twice."""
    rng = random.Random(seed)
    result = Outcome(0, Counter(), 0, 0, [])
    for number, coded in enumerate(layouts):
        for name in refusals(coded, coded.data):   # it does not read such files at all
            del coded.references[name]
        share = -(-flips // len(layouts))
        for bit in chosen(coded, share, rng):
            data = coded.flipped(bit)
            refused = refusals(coded, data)
            ours, words = told(data, folder / f"flipped{coded.suffix}")
            result.flips += 1
            result.refused.update(refused.keys())
            result.any += bool(refused)
            result.told += ours
            if refused and not ours:
                result.missed.append(f"{coded.name} layout {number} bit {bit}: {refused}; read as: {words or 'sound'}")
    return result


def chosen(coded: Coded, count: int, rng: random.Random) -> Iterator[int]:
    """Bits to flip, in order."""
    return iter(sorted(rng.sample(range(coded.flips()), min(count, coded.flips()))))


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--flips", type=int, default=5000, help="of each kind of coding")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", nargs="*", default=[], help="kinds of coding by a part of their name")
    parser.add_argument("--show", action="store_true", help="a line for each flip that was missed")
    options = parser.parse_args()
    missed = 0
    print("| coding | flips | refused by | by any | findings | missed |\n|---|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as folder:
        for name, layouts in kinds().items():
            if options.only and not any(part.casefold() in name.casefold() for part in options.only):
                continue
            result = measure(layouts, options.flips, options.seed, Path(folder))
            by = ", ".join(f"{who} {count:,}" for who, count in result.refused.most_common())
            print(f"| {name} | {result.flips:,} | {by} | {result.any:,} | {result.told:,} | {len(result.missed):,} |",
                  flush=True)
            missed += len(result.missed)
            for line in result.missed[: 10**9 if options.show else 0]:
                print(line)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
