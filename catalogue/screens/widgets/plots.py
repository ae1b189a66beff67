"""Small plots in characters. Pure text; every bar carries its number, so nothing hangs on colour or on a fine eye."""

from collections.abc import Sequence

EIGHTHS = " ▁▂▃▄▅▆▇█"
PARTS = " ▏▎▍▌▋▊▉█"


def columns(values: Sequence[tuple[str, float]], width: int, height: int) -> list[str]:
    """Upright bars with their labels below, the newest on the right; the oldest are left out where there is no room.

    ``height`` counts the rows of the bars; one more is the labels'.
    """
    if not values:
        return []
    wide = max(len(label) for label, _ in values)
    shown = values[-max(1, (width + 1) // (wide + 1)):]
    top = max(value for _, value in shown) or 1.0
    rows = []
    for row in range(height, 0, -1):
        cells = []
        for _, value in shown:
            eighths = round(value / top * height * 8) - (row - 1) * 8
            if row == 1 and value > 0:
                eighths = max(1, eighths)  # something is never drawn as nothing
            cells.append(EIGHTHS[max(0, min(8, eighths))] * wide)
        rows.append(" ".join(cells))
    return [*rows, " ".join(f"{label:>{wide}}" for label, _ in shown)]


def bar(share: float, width: int) -> str:
    """A horizontal bar of ``width`` cells, filled by ``share`` (0 to 1) to an eighth of a cell."""
    share = min(1.0, max(0.0, share))
    eighths = round(share * width * 8)
    if share > 0:
        eighths = max(1, eighths)
    whole, rest = divmod(eighths, 8)
    return ("█" * whole + (PARTS[rest] if rest else "")).ljust(width, "·")


def bars(values: Sequence[tuple[str, float, str]], width: int) -> list[str]:
    """Horizontal bars: label, share of the whole, the number in words; one line each."""
    if not values:
        return []
    left = max(len(label) for label, _, _ in values)
    right = max(len(words) for _, _, words in values)
    length = max(4, min(40, width - left - right - 4))
    return [f"{label:<{left}}  {bar(share, length)}  {words:>{right}}" for label, share, words in values]


def level(reached: int, most: int = 4) -> str:
    """``●●○○ 2 of 4``."""
    return "●" * reached + "○" * (most - reached) + f" {reached} of {most}"
