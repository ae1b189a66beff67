"""What goes to a terminal for a sharp picture, read as the protocols' own documents say a terminal reads it.

Kitty's: the terminal graphics protocol (kitty's documentation: "The graphics escape code", "Remote client: chunks",
"Unicode placeholders"). Sixels: VT330/VT340 Programmer Reference Manual, volume 2, chapter 14. Both from memory.
"""

import base64
import io
import re
import sys
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from rich.console import Console
from textual_image import _terminal
from textual_image.renderable.tgp import _NUMBER_TO_DIACRITIC
from textual_image.renderable.tgp import Image as PlacedImage

from catalogue.screens.pictures.sixel import sixels

CELL = (10, 20)     # pixels
COLUMNS, ROWS = 9, 4
# The first of the combining marks that stand for numbers from 0 on (kitty's rowcolumn-diacritics).
DIACRITICS = (0x305, 0x30D, 0x30E, 0x310, 0x312, 0x33D, 0x33E, 0x33F, 0x346, 0x34A)
COLOURS = ((200, 30, 40), (20, 160, 60), (30, 60, 220), (240, 240, 230))


@pytest.fixture(autouse=True)
def cell_size(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(_terminal.get_cell_size, "_result", _terminal.CellSize(*CELL), raising=False)


def quarters() -> Image.Image:
    """A picture of four colours, as large as its cells."""
    width, height = COLUMNS * CELL[0], ROWS * CELL[1]
    picture = Image.new("RGB", (width, height))
    for number, colour in enumerate(COLOURS):
        left, top = number % 2 * width // 2, number // 2 * height // 2
        picture.paste(colour, (left, top, left + width // 2, top + height // 2))
    return picture


@dataclass
class Placed:
    """A picture a terminal was given, and the cells it was told to lie in."""

    data: bytes = b""
    columns: int = 0
    rows: int = 0


def read_graphics(stream: str) -> dict[int, Placed]:
    """Pictures by id, of escape codes ``APC G control data ; payload ST``. Fails where the document forbids one."""
    pictures: dict[int, Placed] = {}
    under_way = ""
    rest = re.sub(r"\x1b_G([^;\x1b]*)(?:;([A-Za-z0-9+/=]*))?\x1b\\", "", stream)
    assert "\x1b_" not in rest
    for control, payload in re.findall(r"\x1b_G([^;\x1b]*)(?:;([A-Za-z0-9+/=]*))?\x1b\\", stream):
        keys = dict(pair.split("=") for pair in control.split(","))
        number = int(keys["i"])
        assert 0 < number < 2 ** 32
        if keys.get("a", "t") == "t":
            assert keys["f"] == "100" and len(payload) <= 4096
            assert keys["m"] == "0" or len(payload) % 4 == 0, "each chunk but the last is whole groups of base64"
            under_way += payload
            if keys["m"] == "0":
                pictures[number] = Placed(base64.b64decode(under_way, validate=True))
                under_way = ""
        elif keys["a"] == "p":
            assert keys["U"] == "1", "shown where its placeholders stand"
            pictures[number].columns, pictures[number].rows = int(keys["c"]), int(keys["r"])
    assert not under_way, "the last chunk says that it is the last"
    return pictures


def test_a_picture_by_kittys_protocol_arrives_whole_and_its_placeholders_name_every_cell(
        monkeypatch: pytest.MonkeyPatch) -> None:
    stream = io.StringIO()
    monkeypatch.setattr(sys, "__stdout__", stream)
    noise = Image.fromarray(np.random.default_rng(5).integers(0, 256, (80, 90, 3), np.uint8))     # several chunks
    console = Console(width=COLUMNS, height=ROWS, force_terminal=True, color_system="truecolor")
    segments = list(console.render(PlacedImage(noise, COLUMNS, ROWS)))
    (number, placed), = read_graphics(stream.getvalue()).items()
    assert stream.getvalue().count("\x1b_G") > 3, "in chunks"
    assert (placed.columns, placed.rows) == (COLUMNS, ROWS)
    decoded = Image.open(io.BytesIO(placed.data))
    assert decoded.size == (COLUMNS * CELL[0], ROWS * CELL[1])
    assert np.array_equal(np.asarray(decoded.convert("RGB")), np.asarray(noise.resize(decoded.size)))
    lines = [segment for segment in segments if "\U0010eeee" in segment.text]
    assert len(lines) == ROWS
    for row, segment in enumerate(lines):
        assert segment.style is not None and segment.style.color is not None
        assert segment.style.color.triplet == tuple(number >> shift & 255 for shift in (16, 8, 0))
        cells = [tuple(map(ord, cell)) for cell in re.findall("\U0010eeee(.)(.)(.)", segment.text)]
        assert cells == [(DIACRITICS[row], DIACRITICS[column], _NUMBER_TO_DIACRITIC[number >> 24 & 255])
                         for column in range(COLUMNS)]


def read_sixels(stream: str) -> NDArray[np.uint8]:
    """The pixels that a device control string of sixels draws, height × width × RGB; zero where nothing was drawn."""
    match = re.fullmatch(r"\x1bP[\d;]*q(.*)\x1b\\", stream, re.DOTALL)
    assert match is not None
    colours: dict[int, tuple[int, ...]] = {}
    drawn: dict[tuple[int, int], int] = {}
    x = band = chosen = 0
    tokens = re.findall(r'"[\d;]*|#[\d;]+|!\d+[?-~]|[?-~]|[$\-]|.', match[1], re.DOTALL)
    for token in tokens:
        if token[0] == '"':
            continue    # raster attributes: the size, which what is drawn has too
        if token[0] == "#":
            number, *values = map(int, token[1:].split(";"))
            if values:
                assert values[0] == 2 and all(0 <= value <= 100 for value in values[1:]), "RGB in hundredths"
                colours[number] = tuple(round(value * 255 / 100) for value in values[1:])
            else:
                chosen = number
        elif token == "$":
            x = 0
        elif token == "-":
            x, band = 0, band + 1
        elif token.strip():
            count, sign = (int(token[1:-1]), token[-1]) if token[0] == "!" else (1, token)
            assert chosen in colours, "a colour is defined before it draws"
            for bit in range(6):
                if ord(sign) - 63 >> bit & 1:
                    drawn |= {(band * 6 + bit, at): chosen for at in range(x, x + count)}
            x += count
    pixels = np.zeros((1 + max(y for y, _ in drawn), 1 + max(at for _, at in drawn), 3), np.uint8)
    for place, number in drawn.items():
        pixels[place] = colours[number]
    return pixels


def test_a_picture_in_sixels_draws_its_own_pixels() -> None:
    pixels = read_sixels(sixels(quarters(), COLUMNS, ROWS))
    true = np.asarray(quarters())
    assert pixels.shape[1] == true.shape[1]
    height = min(len(pixels), len(true))
    assert height > len(true) - 6, "all but, at most, a band that would begin in the row below"
    assert np.abs(pixels[:height].astype(int) - true[:height]).max() <= 3, "hundredths, rounded"


def test_sixels_that_are_wrong_are_seen_to_be() -> None:
    """The reading above notices where two colours are each other's."""
    data = sixels(quarters(), COLUMNS, ROWS)
    first, second = re.findall(r"#\d+;2;(\d+;\d+;\d+)", data)[:2]
    exchanged = re.sub(rf";2;({first}|{second})#", lambda found: f";2;{second if found[1] == first else first}#", data)
    assert np.abs(read_sixels(exchanged)[:70].astype(int) - np.asarray(quarters())[:70]).max() > 50
