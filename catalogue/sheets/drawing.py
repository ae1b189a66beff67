"""A scale drawing of a print with its measurements, as SVG: sheet, picture, border or wrap."""

from collections.abc import Sequence

from markupsafe import Markup

from catalogue.ledger.values import shown_mm
from catalogue.sheets.layout import Rect, height, print_layout, width

THINNEST_MM = 0.15
SCALES = (1, 2, 5, 10, 20, 50, 100)  # reductions of ISO 5455, from memory


def scale_for(width_mm: float, height_mm: float, room_mm: tuple[float, float]) -> int:
    """The denominator of the largest standard scale at which a rectangle fits the room, all in mm."""
    return next((n for n in SCALES if width_mm / n <= room_mm[0] and height_mm / n <= room_mm[1]), SCALES[-1])


def drawing(width_mm: float, height_mm: float, *, border_mm: float = 0.0, wrap_mm: float = 0.0, edge: str = "",
            picture: str = "", placed: Rect | None = None, marks: Sequence[Rect] = (),
            room_mm: tuple[float, float] = (84.0, 100.0)) -> Markup:
    """SVG of a print of finished size ``width_mm`` × ``height_mm``, measurable with a rule when printed unscaled.

    A border lies within the size. A wrap lies beyond it: its folds are the solid inner frame, and the picture runs
    over it unless the edge is made otherwise. ``picture`` is a data URI, ``placed`` where it lies
    if not as said; ``marks`` lie outside, in mm from the top
    left corner of the finished print, and are drawn no thinner than a printer shows.
    """
    layout = print_layout(width_mm, height_mm, border_mm=border_mm, wrap_mm=wrap_mm, edge=edge)
    around = max([wrap_mm, *(-min(mark[:2]) for mark in marks)])      # what lies beyond the finished size
    scale = scale_for(width_mm + 2 * around, height_mm + 2 * around, room_mm)
    w, h, wrap, beyond = width_mm / scale, height_mm / scale, wrap_mm / scale, around / scale
    left, top = 9.0 + beyond, 1.0 + beyond
    total = (max(left + w + beyond + 1.0, 52.0), top + h + beyond + 11.0)

    def drawn(rect: Rect) -> Rect:
        """Left, top, width and height on the page, in mm."""
        return left + rect[0] / scale, top + rect[1] / scale, width(rect) / scale, height(rect) / scale

    parts = [Markup('<svg xmlns="http://www.w3.org/2000/svg" width="{0:.2f}mm" height="{1:.2f}mm" '
                    'viewBox="0 0 {0:.2f} {1:.2f}" role="img" aria-label="{2}">').format(
                        *total, f"the print to scale 1:{scale}")]
    if wrap:
        parts.append(_rect(*drawn(layout.sheet), 'fill="#f2f2f2" stroke="none"'))
    if border_mm or placed:
        parts.append(_rect(*drawn(layout.finished), 'fill="#fff" stroke="none"'))
    if picture:
        parts.append(Markup('<image href="{}" x="{:.2f}" y="{:.2f}" width="{:.2f}" height="{:.2f}" '
                            'preserveAspectRatio="xMidYMid slice"/>').format(picture, *drawn(placed or layout.picture)))
    else:
        parts.append(_rect(*drawn(placed or layout.picture), 'fill="#ddd" stroke="none"'))
    if wrap:
        parts.append(_rect(*drawn(layout.sheet),
                           'fill="none" stroke="#000" stroke-width="0.2" stroke-dasharray="1.2 0.8"'))
    for mark in marks:
        x, y, across, down = drawn(mark)
        parts.append(_rect(x, y, max(across, THINNEST_MM), max(down, THINNEST_MM), 'fill="#000" class="mark"'))
    parts.append(_rect(*drawn(layout.finished), 'fill="none" stroke="#000" stroke-width="0.3"'))
    parts += _measure(left, top + h + beyond + 3.0, left + w, None, f"{shown_mm(width_mm)} cm")
    parts += _measure(6.0, top, None, top + h, f"{shown_mm(height_mm)} cm")
    note = f"scale 1:{scale}" + (f", wrap {wrap_mm:g} mm" if wrap_mm else "") + (
        f", border {border_mm:g} mm" if border_mm else "") + (", marks" if marks else "")
    parts.append(Markup('<text x="{:.2f}" y="{:.2f}" font-size="2.6" fill="#444">{}</text></svg>').format(
        left - beyond, total[1] - 0.6, note))
    return Markup("").join(parts)


def _rect(x: float, y: float, width: float, height: float, style: str) -> Markup:
    return Markup('<rect x="{:.2f}" y="{:.2f}" width="{:.2f}" height="{:.2f}" {}/>').format(
        x, y, width, height, Markup(style))


def _measure(x1: float, y1: float, x2: float | None, y2: float | None, text: str) -> list[Markup]:
    """A measuring line with end strokes; across where ``x2`` is given, else down to ``y2``."""
    if x2 is not None:
        path = f"M{x1:.2f} {y1 - 1:.2f}v2M{x1:.2f} {y1:.2f}H{x2:.2f}M{x2:.2f} {y1 - 1:.2f}v2"
        attributes = Markup('x="{:.2f}" y="{:.2f}"').format((x1 + x2) / 2, y1 + 3)
    else:
        middle = (y1 + (y2 or y1)) / 2
        path = f"M{x1 - 1:.2f} {y1:.2f}h2M{x1:.2f} {y1:.2f}V{y2:.2f}M{x1 - 1:.2f} {y2:.2f}h2"
        attributes = Markup('transform="rotate(-90 {0:.2f} {1:.2f})" x="{0:.2f}" y="{1:.2f}"').format(x1 - 1.2, middle)
    return [Markup('<path d="{}" stroke="#000" stroke-width="0.2" fill="none"/>').format(path),
            Markup('<text {} font-size="3" text-anchor="middle">{}</text>').format(attributes, text)]
