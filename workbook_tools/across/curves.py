"""A picture of the curves: share of the fish at the working stage against time, a line for each start dose.

Lines differ in dashes and thickness and carry their dose at their end, so that a grey print reads as well as a screen.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from workbook_tools.across.observations import band_words
from workbook_tools.across.responses import DoseResponse, Learned, Lesson
from workbook_tools.across.suggestion import SHARE_TARGET
from workbook_tools.across.survival import EXTRA, WORKING_TARGET, Curve
from workbook_tools.errors import DataError, MissingLibraryError

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

KINDS = ("png", "svg")
PANEL = (6.2, 3.3)  # width and height of one panel [in]
SHORTEST = 240  # least time on the axis, so that 3 min is always on it [s]
APART = 0.085  # least distance of two labels, as a share of the height
DASHES: tuple[Any, ...] = ("-", (0, (6, 2)), (0, (1.5, 1.5)), (0, (6, 2, 1.5, 2)), (0, (3, 1)), (0, (1, 3)))
NOTES = (
    "Thin lines: 80 % of the fish, 3 min.",
    "Small uprights: fish topped up, or out of the bath, before they reached the stage.",
    "Reference values; the label in force, local law and the prescribing veterinarian decide.",
)


def picture(learned: Learned, kind: str = "png") -> bytes:
    """The curves of every lesson that has one, as a picture.

    Parameters
    ----------
    learned : the lessons to draw, a panel for each.
    kind : png or svg.

    Returns
    -------
    The picture's bytes; the same lessons and libraries give the same bytes.

    Raises
    ------
    MissingLibraryError : matplotlib is not installed. DataError : there is nothing to draw.
    """
    if kind not in KINDS:
        raise DataError([f"a picture is one of {', '.join(KINDS)}, not {kind}"])
    lessons = [lesson for lesson in learned.lessons if any(one.curve for one in lesson.responses)]
    if not lessons:
        raise DataError(["There is no curve to draw: no fish with a usable time."])
    try:
        from matplotlib import rc_context
        from matplotlib.figure import Figure
    except ImportError as error:
        raise MissingLibraryError("matplotlib", EXTRA, "A picture of the curves") from error
    columns = min(2, len(lessons))
    rows = math.ceil(len(lessons) / columns)
    with rc_context({"svg.hashsalt": "workbook-tools", "svg.fonttype": "none", "font.size": 9}):
        figure = Figure(figsize=(PANEL[0] * columns, PANEL[1] * rows + 0.5), layout="constrained")
        panels = figure.subplots(rows, columns, squeeze=False).flatten()
        for panel, lesson in zip(panels, lessons, strict=False):
            _draw(panel, lesson)
        for panel in panels[len(lessons) :]:
            panel.set_axis_off()
        figure.supxlabel((" " if columns > 1 else "\n").join(NOTES), fontsize=8)
        return _bytes(figure, kind)


def _bytes(figure: Figure, kind: str) -> bytes:
    stream = io.BytesIO()
    figure.savefig(stream, format=kind, dpi=130, metadata={"Date": None} if kind == "svg" else {"Software": None})
    return stream.getvalue()


def _draw(panel: Axes, lesson: Lesson) -> None:
    """One panel: axes, the two aims, a line for each dose and its label."""
    drawn = [(one, one.curve) for one in lesson.responses if one.curve is not None]
    end = max(SHORTEST, *(shape.times[-1] for _, shape in drawn))
    panel.set_title(
        f"{lesson.species}, {band_words(lesson.band)}\n{lesson.agent}: {_said(lesson)}", fontsize=9, loc="left", pad=14
    )
    panel.set_xlim(0, end * 1.02)
    panel.set_ylim(-0.02, 1.04)
    panel.set_yticks([0, 0.2, 0.4, 0.6, 0.8, 1], ["0 %", "20 %", "40 %", "60 %", "80 %", "100 %"])
    panel.set_ylabel("fish at the working stage")
    panel.set_xlabel("seconds in the bath")
    for side in ("top", "right"):
        panel.spines[side].set_visible(False)
    panel.axvline(WORKING_TARGET, color="0.75", linewidth=0.8, zorder=0)
    panel.axhline(SHARE_TARGET, color="0.75", linewidth=0.8, zorder=0)
    panel.text(WORKING_TARGET, 1.045, "3 min", ha="center", va="bottom", fontsize=7, color="0.35")
    for number, (_, shape) in enumerate(drawn):
        _line(panel, shape, number)
    _labels(panel, drawn)


def _said(lesson: Lesson) -> str:
    dose = lesson.suggestion.dose
    return "no start dose suggested" if dose is None else f"suggested start dose {dose:g} mg/L"


def _line(panel: Axes, shape: Curve, number: int) -> None:
    """One curve as steps, and its uprights."""
    there = [1 - left for left in shape.left]
    panel.step(shape.times, there, where="post", **_look(number))
    heights = [1 - shape.left_at(tick) for tick in shape.ticks]
    panel.plot(shape.ticks, heights, linestyle="none", marker="|", markersize=7, color="black")


def _labels(panel: Axes, drawn: Sequence[tuple[DoseResponse, Curve]]) -> None:
    """Right of the axes, at the height of each curve's end or as near as there is room: its line, dose and fish."""
    ends = sorted((1 - shape.left[-1], number) for number, (_, shape) in enumerate(drawn))
    heights = spread([height for height, _ in ends])
    right = panel.get_xlim()[1]
    for (_, number), height in zip(ends, heights, strict=True):
        one = drawn[number][0]
        panel.plot([right * 1.01, right * 1.11], [height, height], clip_on=False, **_look(number))
        panel.text(right * 1.13, height, f"{one.dose:g} mg/L, {one.fish} fish", va="center", fontsize=8)


def _look(number: int) -> dict[str, Any]:
    """How the line of the dose with a number is drawn: here and in its label alike."""
    thickness = 1.3 + 0.9 * (number // len(DASHES))
    return {"color": "black", "linestyle": DASHES[number % len(DASHES)], "linewidth": thickness}


def spread(heights: Sequence[float]) -> list[float]:
    """Heights of labels near the heights wanted, which rise: never closer than APART, pushed down from the top."""
    placed: list[float] = []
    for height in heights:
        placed.append(max(height, placed[-1] + APART) if placed else height)
    over = max(0.0, placed[-1] - max(1.0, heights[-1])) if placed else 0.0
    ceiling = placed[-1] - over if placed else 0.0
    for place in range(len(placed) - 1, -1, -1):
        placed[place] = min(placed[place], ceiling)
        ceiling = placed[place] - APART
    return placed
