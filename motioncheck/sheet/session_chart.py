"""The circuit as a drawing: a line a minute, with work, the reps due that minute, and rest."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from string import ascii_uppercase

from motioncheck.records.session import CircuitResult, MinuteRow, Span
from motioncheck.sheet.canvas import Canvas, svg_of
from motioncheck.sheet.words import number_text

ROW_SHARE = 1.75
BAR_SHARE = 0.72


def letters_of(circuit: CircuitResult) -> dict[str, str]:
    """Return the letter of each movement of the work, in the order of the plan."""
    return {c.movement: ascii_uppercase[i % 26] for i, c in enumerate(circuit.counts)}


def minute_chart(circuit: CircuitResult, *, width: int, font: int, name: str) -> str:
    """Draw the minutes of a circuit below each other.

    Parameters
    ----------
    circuit : CircuitResult
    width, font : int
        Picture units.
    name : str
        Distinguishes the pattern of this drawing from others on the page; letters and digits.

    Returns
    -------
    str
        An ``<svg>`` element, empty when there is no clock.
    """
    if not circuit.rows:
        return ""
    row_height = font * ROW_SHARE
    height = row_height * len(circuit.rows) + font * 2.6
    canvas = Canvas(width, height, font, (0.0, 60.0), (0.0, 1.0), top=font * 0.4, right=font * 5.2)
    pattern = f"hatch-{name}"
    letters = letters_of(circuit)
    body = [_pattern(pattern), _scale(canvas, height)]
    for i, row in enumerate(circuit.rows):
        body.append(_row(canvas, row, canvas.top + i * row_height, pattern, letters))
    return svg_of(canvas, _label(circuit), "".join(body))


def _label(circuit: CircuitResult) -> str:
    return (
        f"{len(circuit.rows)} minutes of the circuit, a line a minute: work, reps due that minute, "
        "and rest. The table below has the same in numbers."
    )


def _pattern(name: str) -> str:
    return (
        f'<defs><pattern id="{name}" width="6" height="6" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><rect class="due-ground" width="6" height="6"/>'
        '<path class="due-line" d="M0 0V6"/></pattern></defs>'
    )


def _scale(canvas: Canvas, height: float) -> str:
    foot = height - canvas.font * 2.0
    out = []
    for second in range(0, 61, 10):
        x = canvas.x(second)
        out.append(
            f'<path class="rule" d="M{x:.1f} {canvas.top:.1f}V{foot:.1f}"/>'
            f'<text x="{x:.1f}" y="{foot + canvas.font * 1.3:.1f}" text-anchor="middle">'
            f"{second}{' s' if second == 60 else ''}</text>"
        )
    return "".join(out)


def _row(canvas: Canvas, row: MinuteRow, y: float, pattern: str, letters: Mapping[str, str]) -> str:
    height = canvas.font * ROW_SHARE * BAR_SHARE
    text_y = y + height * 0.5 + canvas.font * 0.35
    x0, x1 = canvas.x(0.0), canvas.x(row.clock_s)
    out = [
        f'<text class="minute" x="{x0 - 6:.1f}" y="{text_y:.1f}" text-anchor="end">'
        f"{row.minute}:00</text>"
        f'<rect class="clock-bar" x="{x0:.1f}" y="{y:.1f}" width="{max(x1 - x0, 1):.1f}" '
        f'height="{height:.1f}"/>'
    ]
    out += [_span(canvas, span, y, height, pattern, letters) for span in row.spans]
    left = "done" if row.left == 0 else f"{number_text(row.left, 0)} left"
    out.append(f'<text x="{canvas.x(60.0) + 8:.1f}" y="{text_y:.1f}">{escape(left)}</text>')
    return "".join(out)


def _span(
    canvas: Canvas,
    span: Span,
    y: float,
    height: float,
    pattern: str,
    letters: Mapping[str, str],
) -> str:
    x0, x1 = canvas.x(span.start_s), canvas.x(span.end_s)
    work = span.kind == "work"
    fill = 'class="work-bar"' if work else f'class="due-bar" fill="url(#{pattern})"'
    box = (
        f'<rect {fill} x="{x0:.1f}" y="{y:.1f}" width="{max(x1 - x0, 0.8):.1f}" '
        f'height="{height:.1f}"/>'
    )
    if not work or x1 - x0 < canvas.font * 1.1:
        return box
    middle, base = (x0 + x1) / 2, y + height * 0.5 + canvas.font * 0.35
    letter = escape(letters.get(span.movement, ""))
    return (
        f'{box}<text class="work-text" x="{middle:.1f}" y="{base:.1f}" text-anchor="middle">'
        f"{letter}</text>"
    )
