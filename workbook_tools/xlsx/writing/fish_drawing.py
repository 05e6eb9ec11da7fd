"""An outline of a fish to mark findings on: both sides, from above, and the gill arches. Drawn for this project.

No species in particular: one dorsal fin, a forked tail, four gill arches a side with their filaments.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from workbook_tools.xlsx.writing.picture import Picture, Stroke, Word

# a side view, head to the left, in a box of 1200 x 480
SIDE_WIDTH = 1200
BODY = (
    "M 55 255 C 75 225 110 200 150 178 C 240 128 360 92 500 90 C 690 88 850 160 990 208 "
    "C 1040 200 1100 150 1150 95 C 1128 170 1118 215 1116 250 C 1118 285 1130 330 1152 400 "
    "C 1100 345 1040 300 990 290 C 850 345 700 402 520 405 C 360 408 220 370 130 318 C 95 298 70 280 55 255 Z"
)
SIDE = (
    Stroke(BODY, 1.4),
    Stroke("M 292 118 C 350 165 372 255 345 322 C 330 355 305 372 268 380", 1.2),  # edge of the gill cover
    Stroke("M 236 160 C 268 205 272 275 240 330", 0.6),  # fore edge of the cheek
    Stroke("M 58 258 C 85 272 112 276 140 272 C 146 280 146 288 140 296", 0.9),  # mouth
    Stroke("M 190 222 C 190 236 179 247 165 247 C 151 247 140 236 140 222 C 140 208 151 197 165 197 "
           "C 179 197 190 208 190 222 Z", 1.0),
    Stroke("M 175 222 C 175 228 171 232 165 232 C 159 232 155 228 155 222 C 155 216 159 212 165 212 "
           "C 171 212 175 216 175 222 Z", 0.8, filled=True),
    Stroke("M 100 226 C 104 222 110 222 112 226", 0.8),  # nostril
    Stroke("M 372 232 C 520 214 800 240 990 248", 0.7, dashed=True),  # lateral line
    Stroke("M 455 92 C 470 50 510 18 560 12 C 620 28 690 78 742 124", 1.1),  # dorsal fin
    Stroke("M 500 90 L 530 32 M 545 91 L 572 28 M 590 95 L 613 44 M 635 101 L 653 66 M 680 109 L 692 88", 0.5),
    Stroke("M 372 300 C 420 298 470 322 496 356 C 446 364 398 352 370 326 Z", 1.0),  # pectoral fin
    Stroke("M 385 312 C 420 314 450 328 472 346 M 382 322 C 410 332 432 342 450 352", 0.5),
    Stroke("M 575 403 C 585 436 612 462 648 470 C 664 446 664 420 650 392", 1.1),  # pelvic fin
    Stroke("M 594 402 C 602 430 616 448 634 458 M 622 398 C 630 420 638 438 646 450", 0.5),
    Stroke("M 775 364 C 785 402 815 436 856 446 C 874 414 878 374 868 334", 1.1),  # anal fin
    Stroke("M 798 356 C 808 390 824 412 844 426 M 832 346 C 842 374 850 394 856 408", 0.5),
    Stroke("M 748 374 L 754 386 L 762 370", 0.9),  # vent
    Stroke("M 1010 222 C 1050 204 1090 172 1124 132 M 1010 240 C 1050 232 1080 218 1108 200 "
           "M 1010 258 C 1050 264 1080 276 1108 296 M 1010 276 C 1050 294 1090 326 1124 362", 0.5),
)  # fmt: skip

# from above, head to the left, in a box of 1200 x 300; the middle line is y = 150
ABOVE = (
    Stroke(
        "M 55 150 C 70 118 120 92 190 78 C 300 58 420 62 520 70 C 720 84 880 122 1000 140 L 1150 132 "
        "C 1140 144 1140 156 1150 168 L 1000 160 C 880 178 720 216 520 230 C 420 238 300 242 190 222 "
        "C 120 208 70 182 55 150 Z",
        1.4,
    ),
    Stroke("M 128 100 C 132 82 158 72 178 82 M 128 200 C 132 218 158 228 178 218", 1.2),  # eyes
    Stroke("M 322 60 C 348 84 340 112 300 128 M 322 240 C 348 216 340 188 300 172", 1.1),  # gill covers
    Stroke("M 350 60 C 380 30 430 8 486 6 C 470 34 436 56 400 64 M 350 240 C 380 270 430 292 486 294 "
           "C 470 266 436 244 400 236", 1.0),  # pectoral fins
    Stroke("M 455 150 C 540 140 660 140 742 150 C 660 160 540 160 455 150 Z", 0.9),  # dorsal fin
    Stroke("M 84 140 C 88 136 94 136 96 140 M 84 160 C 88 164 94 164 96 160", 0.8),  # nostrils
)  # fmt: skip

# one gill arch in a box of 140 x 340
ARCH_WIDTH, ARCH_HEIGHT = 140, 340
FILAMENTS = 15


def arch() -> tuple[Stroke, ...]:
    """A gill arch, bent to the left, its filaments outward and its rakers inward."""
    centre, middle, across, down = 125.0, ARCH_HEIGHT / 2, 62.0, 150.0
    outer, inner, combs = [], [], []
    for number in range(FILAMENTS):
        angle = math.radians(110 + 140 * number / (FILAMENTS - 1))
        x, y = math.cos(angle), math.sin(angle)
        outer.append((centre + across * x, middle + down * y))
        inner.append((centre + (across - 15) * x, middle + (down - 10) * y))
        combs.append(f"M {centre + across * x:g} {middle + down * y:g} "
                     f"L {centre + (across + 52) * x:g} {middle + (down + 14) * y:g}")  # fmt: skip
    line = " L ".join(f"{x:g} {y:g}" for x, y in (*outer, *reversed(inner)))
    rakers = " ".join(f"M {x:g} {y:g} L {x + 12:g} {y + (middle - y) * 0.06:g}" for x, y in inner[1:-1])
    return Stroke(f"M {line} Z", 1.0), Stroke(" ".join(combs), 0.6), Stroke(rakers, 0.5)


CAPTIONS = ("left", "right", "above", "left_gills", "right_gills")


def fish_drawing(words: Mapping[str, str]) -> Picture:
    """The drawing with captions.

    Parameters
    ----------
    words : caption of each part: left, right, above, left_gills, right_gills; and `about`, what the whole shows.

    Returns
    -------
    A picture of 2600 x 1060 units.
    """
    strokes: list[Stroke] = []
    strokes += [stroke.moved(0, 60) for stroke in SIDE]
    strokes += [stroke.moved(1380, 60, mirror=SIDE_WIDTH) for stroke in SIDE]
    strokes += [stroke.moved(0, 690) for stroke in ABOVE]
    for number in range(4):
        strokes += [stroke.moved(1400 + 140 * number, 690) for stroke in arch()]
        strokes += [stroke.moved(2040 + 140 * number, 690, mirror=ARCH_WIDTH) for stroke in arch()]
    places = {
        "left": (0, 0),
        "right": (1380, 0),
        "above": (0, 620),
        "left_gills": (1400, 620),
        "right_gills": (2040, 620),
    }
    captions = [Word(words[key], x, y, 560) for key, (x, y) in places.items()]
    for number in range(4):
        captions.append(Word(str(number + 1), 1470 + 140 * number, 1022, 60, 8))
        captions.append(Word(str(4 - number), 2090 + 140 * number, 1022, 60, 8))
    return Picture(2600, 1060, strokes, captions, words["about"])
