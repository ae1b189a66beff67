"""Pictures in cells, plots, lanes: the pure parts of the screens."""

import io
import re
import threading
from concurrent.futures import Future
from itertools import pairwise, product
from pathlib import Path

import numpy as np
import pyte
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from rich.cells import cell_len
from rich.console import Console
from rich.segment import Segment
from rich.style import Style
from skimage.metrics import structural_similarity
from textual.strip import Strip

from catalogue.progress import data_size
from catalogue.screens.background.line_speed import LineSpeed
from catalogue.screens.background.threads import WorkerThread
from catalogue.screens.pictures.blocks import ACROSS, BLOCKS, DOWN, best_pairs, fillings, fit_within, keep_contrast
from catalogue.screens.pictures.cells import Cells, Drawing, cells, fit_size
from catalogue.screens.pictures.drawing import RAMP, draw_file, draw_picture
from catalogue.screens.pictures.graphics import block_signs, knows_placeholders, may_ask, says_sharp, sharp_pictures
from catalogue.screens.pictures.picture import Drawings, calm_tones
from catalogue.screens.pictures.sixel import Covered, sixels
from catalogue.screens.pictures.strip import PictureStrip
from catalogue.screens.texts.formats import ago, centimetres, day, number, scanned_cm
from catalogue.screens.widgets import plots
from catalogue.settings import Settings
from scripts.bench_pictures import painted as cells_as_pixels
from scripts.bench_pictures import sign_pixels
from tests.photographs import photograph
from tests.screens.shop import painted
from tests.waiting import HANG_SECONDS


def test_a_cell_of_two_colours_is_drawn_as_it_is() -> None:
    """Every sign of every kind, by its name in Unicode, and what it leaves bare."""
    for name, kind in BLOCKS.items():
        assert len(kind.signs) == len(set(kind.signs)) == len(set(kind.filled))
        for sign, swapped in product(kind.signs, (False, True)):
            filled = sign_pixels(sign, ACROSS, DOWN) ^ swapped
            wanted = np.where(filled[..., None], (250, 20, 10), (10, 20, 250)).astype(np.uint8)
            fitted = fit_within(wanted, kind, 1000)
            drawn = sign_pixels(kind.signs[int(fitted.patterns[0, 0])], ACROSS, DOWN)
            shown = np.where(drawn[..., None], fitted.foreground[0, 0], fitted.background[0, 0])
            assert (shown == wanted).all(), (name, sign)
    assert set("▀▄▌▐█▘▝▖▗▚▞▁▇▎▊") < set(BLOCKS["quadrants"].signs) < set(BLOCKS["sextants"].signs)
    # To the nearest sample the lower third and two thirds are three eighths and five.
    assert set(map(chr, range(0x1FB00, 0x1FB3C))) - set(BLOCKS["sextants"].signs) == {"\U0001FB2D", "\U0001FB39"}


def test_neighbours_that_look_alike_share_their_colours() -> None:
    """A flat field with grain under what the eye sees sends few colours; a strict limit is kept to."""
    noise = np.random.default_rng(5)
    field = Image.fromarray((np.full((80, 120, 3), 120) + noise.integers(-1, 2, (80, 120, 3))).astype(np.uint8))
    flat = draw_picture(field, 60, 40, palette="colours")
    assert sum(row.sequence.count("\x1b[") for row in flat.rows if isinstance(row, Cells)) < 3 * len(flat.rows)
    rough = Image.fromarray(noise.integers(0, 255, (80, 120, 3), dtype=np.uint8))
    for height, most, least in ((80, 35_000, 28_000), (80, 20_000, 16_000), (10, 2_000, 1_000)):
        drawn = draw_picture(rough.crop((0, 0, 120, height)), 60, 40, palette="colours", most_bytes=most)
        sent = [len(row.sequence.encode()) for row in drawn.rows if isinstance(row, Cells)]
        assert least < sum(sent) < most * 1.1, "neither too many bytes nor a picture coarser than they allow"
    assert sent[-1] < 900, "a last row that is half the page's shares its colours too"


def test_texture_keeps_its_contrast_and_gets_no_halo() -> None:
    """Two colours are as far apart as samples deviate, as long as no colour goes beyond those of its cell."""
    cells_of = np.random.default_rng(8).normal(128, 20, (6, 9, ACROSS * DOWN, 3)).clip(0, 255).astype(np.float32)
    pairs = best_pairs(cells_of, fillings(BLOCKS["quadrants"]))
    raised, first, second, means = keep_contrast(cells_of, *pairs)
    assert (np.abs(raised.mean(2) - means) < 0.01).all()
    for before, after in zip(pairs, (first, second), strict=False):
        assert ((cells_of.min(2) - 0.01 < after) & (after < cells_of.max(2) + 0.01)).all()
        assert (np.abs(after - means) > 1.2 * np.abs(before - means) - 0.01).mean() > 0.9
    flat = np.tile(np.array([[[[90, 80, 70]]]], np.float32), (2, 2, ACROSS * DOWN, 1))
    assert (keep_contrast(flat, *best_pairs(flat, fillings(BLOCKS["quadrants"])))[1] == flat[:, :, 0]).all()


def test_a_picture_of_cells_looks_like_the_picture() -> None:
    """Structural similarity by scikit-image on one of its pictures; .702 with the colours of least error."""
    picture = Image.fromarray(photograph("camera")).convert("RGB").resize((448, 448), Image.Resampling.LANCZOS)
    seen = cells_as_pixels(draw_picture(picture, 56, 60, palette="colours", blocks="sextants"))
    assert structural_similarity(np.asarray(picture.convert("L")), np.asarray(seen.convert("L"))) > 0.708


def test_where_a_picture_ends_within_a_cell_the_page_is_seen() -> None:
    page = (244, 242, 237)
    drawing = draw_picture(Image.new("RGB", (40, 50), (10, 20, 30)), 40, 40, palette="colours", page=page)
    last = drawing.rows[-1]
    assert isinstance(last, Cells) and len(drawing.rows) == 25
    odd = draw_picture(Image.new("RGB", (40, 51), (10, 20, 30)), 40, 40, palette="colours", page=page)
    last = odd.rows[-1]
    assert isinstance(last, Cells) and len(odd.rows) == 26
    assert (last.signs, last.background, last.foreground) == ("▀" * 40, bytes(page) * 40, bytes((10, 20, 30)) * 40)


@given(st.binary(min_size=7, max_size=210), st.integers(0, 30), st.integers(0, 30))
def test_a_row_of_cells_is_for_the_terminal_what_rich_would_write(data: bytes, start: int, end: int) -> None:
    """Checked with pyte, a terminal model: signs and colours of whole rows and of parts, whichever way they go out."""
    count = len(data) // 7
    signs = "".join(BLOCKS["quadrants"].signs[value % len(BLOCKS["quadrants"].signs)] for value in data[:count])
    coarse = bytes(value & 0xC0 for value in data)      # neighbours share colours now and then
    row = cells(signs, coarse[count:count * 4], coarse[count * 4:count * 7])
    strip = PictureStrip(row, len(row) + 3, Style(bgcolor="#102030"))
    console = Console(color_system="truecolor", force_terminal=True)
    plain = Strip([*row.segments(), Segment("   ", Style(bgcolor="#102030"))], len(row) + 3)
    assert seen(strip.render(console)) == seen(plain.render(console))
    start, end = sorted((min(start, len(row) + 3), min(end, len(row) + 3)))
    assert seen(strip.crop(start, end).render(console)) == seen(plain.crop(start, end).render(console))
    cuts = sorted({start, end, len(row) + 3} - {0})
    assert [seen(part.render(console)) for part in strip.divide(cuts)] \
        == [seen(part.render(console)) for part in plain.divide(cuts)]
    assert [segment.text for segment in strip] == [segment.text for segment in plain]


def seen(written: str) -> list[tuple[str, str, str]]:
    """What is to be seen of what a terminal holds after these bytes: no ink in a blank, no ground behind a full one."""
    screen = pyte.Screen(50, 1)
    pyte.Stream(screen).feed(written)
    cells_held = [screen.buffer[0][x] for x in range(50)]
    return [(cell.data, "" if cell.data == " " else cell.fg, "" if cell.data == "█" else cell.bg)
            for cell in cells_held]


def test_behind_a_panel_a_picture_is_calm() -> None:
    """One tone a row, near the mean of its rows, and no leap from one row to the next."""
    tones = calm_tones([(0, 0, 0)] * 10 + [(200, 100, 50)] * 10)
    assert len(tones) == 20 and tones[0] == (0, 0, 0) and tones[-1] == (200, 100, 50)
    assert max(abs(b[0] - a[0]) for a, b in pairwise(tones)) <= 50


@given(st.integers(1, 3000), st.integers(1, 3000), st.integers(1, 200), st.integers(1, 80))
def test_a_picture_fits_and_keeps_its_proportions(width: int, height: int, columns: int, rows: int) -> None:
    wide, high = fit_size(width, height, columns, rows)
    assert 1 <= wide <= columns and 1 <= high <= rows * 2
    assert abs(wide / width - high / height) <= max(1 / width, 1 / height)


def test_without_colours_lightness_is_a_sign() -> None:
    """16 colours and NO_COLOR: plain ASCII, darker is less ink on a dark ground."""
    picture = Image.new("L", (3, 2))
    picture.putdata([0, 128, 255] * 2)
    row = draw_picture(picture.convert("RGB"), 3, 1, palette="light on dark").rows[0]
    assert row == RAMP[0] + RAMP[5] + RAMP[-1]
    light = draw_picture(picture.convert("RGB"), 3, 1, palette="dark on light").rows[0]
    assert light == row[::-1].replace(RAMP[5], RAMP[4])


def test_marks_are_outlined(tmp_path: Path) -> None:
    plain = draw_file(painted((20, 20, 20)), 40, 20, palette="colours")
    marked = draw_file(painted((20, 20, 20)), 40, 20, palette="colours", marks=((0.0, 0.0, 0.5, 0.5),))
    top, bare = marked.rows[0], plain.rows[0]
    assert isinstance(top, Cells) and isinstance(bare, Cells)
    reds = [max(pair) for pair in zip(top.foreground[:60:3], top.background[:60:3], strict=True)]
    assert min(reds) > 200 > max(bare.foreground[:60:3])
    for side in range(40, 60):      # wherever an outline lies, it is drawn in its own colour
        framed = draw_file(painted((20, 20, 20)), 40, 20, palette="colours", marks=((0.3, 0.3, side / 60, side / 60),))
        ends = [max(row.foreground[0::3] + row.background[0::3]) == 255 for row in framed.rows
                if isinstance(row, Cells)]
        assert ends == [4 <= at <= min(14, side * 15 // 60) for at in range(15)]
    place = tmp_path / "broken.webp"
    place.write_bytes(b"RIFF")
    with pytest.raises(OSError):
        draw_file(place, 10, 10, palette="colours")


def test_drawings_forget_the_oldest() -> None:
    kept, empty = Drawings(2), Drawing(0, ())
    keys = [(Path(f"{n}"), 1, 1, "colours", ()) for n in range(3)]
    kept.put(keys[0], empty)
    kept.put(keys[1], empty)
    assert kept.get(keys[0]) is empty
    kept.put(keys[2], empty)
    assert [kept.get(key) is not None for key in keys] == [True, False, True]


def test_a_picture_in_memory_is_drawn_as_one_on_the_disk(tmp_path: Path) -> None:
    data = painted((90, 40, 20))
    (tmp_path / "p.webp").write_bytes(data)
    assert draw_file(data, 30, 12, palette="colours") == draw_file(tmp_path / "p.webp", 30, 12, palette="colours")
    out = io.BytesIO()
    Image.new("CMYK", (10, 10)).save(out, "TIFF")
    assert draw_file(out.getvalue(), 5, 5, palette="colours").width == 5


@given(st.lists(st.floats(0, 1e12), min_size=1, max_size=60), st.integers(8, 120), st.integers(1, 12))
def test_plots_stay_in_their_room(values: list[float], width: int, height: int) -> None:
    rows = plots.columns([(f"{1980 + n}", value) for n, value in enumerate(values)], width, height)
    assert len(rows) == height + 1
    assert all(len(row) <= width for row in rows)
    assert f"{1980 + len(values) - 1}" in rows[-1]  # the newest is never the one left out
    if values[-1] > 0 and max(values) > 0:
        assert rows[-2].rstrip()[-1:] in plots.EIGHTHS[1:]


@given(st.floats(0, 1), st.integers(1, 60))
def test_a_bar_is_as_long_as_its_share(share: float, width: int) -> None:
    text = plots.bar(share, width)
    assert cell_len(text) == width
    assert abs(text.count("█") - share * width) <= 1


def test_a_lane_skips_what_nobody_waits_for_any_more() -> None:
    made, gate, ran = [], threading.Event(), []
    lane = WorkerThread("test", lambda: made.append(threading.current_thread().name) or "resource")
    slow: Future[bool] = lane.submit(lambda _: gate.wait(HANG_SECONDS))
    stale = lane.submit(lambda _: ran.append("stale"))
    fresh = lane.submit(lambda resource: f"with {resource}")
    assert stale.cancel()
    gate.set()
    assert fresh.result(HANG_SECONDS) == "with resource"
    assert slow.result(HANG_SECONDS)
    assert ran == []
    assert made == ["catalogue-test"]
    with pytest.raises(ZeroDivisionError):
        lane.submit(lambda _: 1 // 0).result(HANG_SECONDS)
    assert lane.submit(lambda _: "still there").result(HANG_SECONDS) == "still there"
    lane.close()


def test_words_for_figures() -> None:
    """ISO 216: A2 at 300 ppi is 4961 × 7016 pixels, 42 × 59.4 cm (reference sheet)."""
    assert scanned_cm(4961, 7016, 300, 300) == "42 × 59.4 cm"
    assert scanned_cm(4961, None, 300, 300) == "–"
    assert (centimetres(505), centimetres(500), number(1234567)) == ("50.5", "50", "1\u202f234\u202f567")
    assert (data_size(999), data_size(1000), data_size(3_347_858_052)) == ("999 B", "1.0 kB", "3.3 GB")
    assert (day("2026-01-31T10:00:00Z", "%d %b %Y"), day(None, "%d"), day("soon", "%d")) == ("31 Jan 2026", "–", "soon")
    assert [ago(moment) for moment in ("2026-02-01T11:00:00Z", "2026-01-31T11:00:00", "2026-01-10", "2025-06-01",
                                       "2024-01-01", None, "once")] == [
        "today", "1 day ago", "3 weeks ago", "8 months ago", "2 years ago", "never", "once"]


@pytest.mark.parametrize(("name", "knows"), [
    ("kitty(0.26.5)", False), ("kitty(0.28.0)", True), ("kitty(1.0.0)", True), ("ghostty 1.0.1", True),
    ("XTerm(379)", False), ("", False)])
def test_older_kitty_gets_half_blocks(name: str, knows: bool) -> None:
    """0.26.5 was looked at: it showed the placeholders as letters. Later names as its documentation has them."""
    assert knows_placeholders(name) is knows


def test_a_sixel_picture_chooses_each_colour_it_defines() -> None:
    """For xterm 379 defining is not choosing: without this it drew bands of the wrong colour, as was seen."""
    picture = Image.new("RGB", (40, 40), (10, 200, 30))
    picture.paste((200, 10, 90), (10, 10, 30, 30))
    data = sixels(picture, 6, 3)
    assert data.startswith("\x1bP") and data.endswith("\x1b\\")
    defined = re.findall(r"#(\d+);2;\d+;\d+;\d+#(\d+)", data)
    assert len(defined) >= 2
    assert all(number == chosen for number, chosen in defined)
    assert len(defined) == data.count(";2;")


def test_cells_under_a_picture_are_left_alone() -> None:
    """Checked with a terminal model: what was there stays, and what follows lies beside it."""
    console = Console(color_system="truecolor", force_terminal=True)
    screen = pyte.Screen(12, 1)
    stream = pyte.Stream(screen)
    stream.feed("abcdefghijkl\r")
    first, second = Covered(8, "\x1b7\x1b8").divide([3, 8])
    stream.feed(first.render(console) + second.render(console) + "X")
    assert screen.display == ["abcdefghXjkl"]
    assert [part.render(console).startswith("\x1b7") for part in (first, second)] == [False, True]


def test_the_terminal_is_asked_only_where_it_can_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    kitty = {"TERM": "xterm-kitty"}
    assert may_ask(kitty, terminal=True)
    assert not may_ask(kitty, terminal=False)
    assert not may_ask(kitty | {"TMUX": "/tmp/x,1,0"}, terminal=True)
    assert not may_ask(kitty | {"STY": "1.x"}, terminal=True)
    assert not may_ask({}, terminal=True)
    monkeypatch.setattr("catalogue.screens.pictures.graphics._is_terminal", lambda: False)
    assert sharp_pictures(Settings()) is None
    assert sharp_pictures(Settings(graphics="sharp")) is None


@pytest.mark.parametrize(("environment", "sharp", "signs"), [
    ({"TERM": "xterm-256color"}, False, "quadrants"), ({"TERM": "xterm-kitty"}, True, "sextants"),
    ({"TERM": "xterm-256color", "TERM_PROGRAM": "WezTerm"}, True, "sextants"), ({"TERM": "foot"}, True, "sextants"),
    ({"TERM": "mlterm-256color"}, True, "quadrants"), ({"TERM": "xterm-ghostty"}, True, "sextants"),
    ({"TERM": "xterm-256color", "VTE_VERSION": "6003"}, False, "quadrants"),
    ({"TERM": "xterm-256color", "VTE_VERSION": "7600"}, False, "sextants"), ({}, False, "quadrants")])
def test_the_environment_says_how_well_pictures_can_be_drawn(
        environment: dict[str, str], sharp: bool, signs: str) -> None:
    """Names as these programs set them, by their own documentation; VTE's number from memory."""
    assert says_sharp(environment) is sharp
    assert block_signs(Settings(), environment) == signs
    assert block_signs(Settings(graphics="half blocks"), environment) == "half blocks"


def test_a_line_is_slow_once_the_terminal_was_late_twice_in_a_row() -> None:
    line = LineSpeed("auto")
    assert not line.wants_answer(50_000, 0.0), "this terminal may never answer"
    line.answered(0.1)      # the question that is put at the start

    def update(size: int, sent: float, answered: float) -> bool:
        if line.wants_answer(size, sent):
            assert not line.wants_answer(size, sent), "one question at a time"
            line.answered(answered)
        return line.slow

    assert not update(26_000, 1.0, 3.0)
    assert not update(26_000, 4.0, 4.3), "neither slow nor fast, so not twice in a row"
    assert not update(26_000, 5.0, 7.0)
    assert update(26_000, 8.0, 10.0)
    assert update(500, 11.0, 11.01), "too little to say anything"
    assert update(9_000, 12.0, 12.3)
    assert not update(9_000, 13.0, 13.05)


@pytest.mark.parametrize(("setting", "slow"), [("fast", False), ("slow", True)])
def test_what_is_set_of_the_line_is_not_measured(setting: str, slow: bool) -> None:
    line = LineSpeed(setting)
    line.answered(0.0)
    assert not line.wants_answer(100_000, 1.0)
    assert line.slow is slow
