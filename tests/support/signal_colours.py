"""The limits of signal colours as their standards write them, to judge what is shown by."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

Inside = Callable[[float, float], bool]

EASA: Final = "EASA CS ADR-DSN.U.930"
CIE_107: Final = "CIE 107-1994"
EN_12368: Final = "draft EN 12368 (1998)"
ITE: Final = "ITE VTCSH (1985, 1998)"

LIMITS: Final[dict[tuple[str, str], Inside]] = {
    # (a)(1) to (5): the CIE 1983 colours of aviation ground lights.
    (EASA, "red"): lambda x, y: y >= 0.980 - x and y <= 0.335,
    (EASA, "yellow"): lambda x, y: y >= 0.382 and y >= 0.790 - 0.667 * x and y <= x - 0.120,
    (EASA, "green"): lambda x, y: x <= 0.360 - 0.080 * y and x <= 0.650 * y and y >= 0.390 - 0.171 * x,
    (EASA, "blue"): lambda x, y: y <= 0.805 * x + 0.065 and y <= 0.400 - x and x <= 0.600 * y + 0.133,
    (EASA, "white"): lambda x, y: (
        0.285 <= x <= 0.500 and y <= min(0.440, 0.150 + 0.640 * x) and y >= min(0.050 + 0.750 * x, 0.382)
    ),
    # As the Lighting Research Center compares them.
    (CIE_107, "red"): lambda x, y: 0.290 <= y <= 0.300 and y >= 0.980 - x,
    (CIE_107, "yellow"): lambda x, y: x - 0.206 <= y <= x - 0.151 and y >= 0.980 - x,
    (CIE_107, "green"): lambda x, y: (
        y <= 0.726 - 0.726 * x and x <= 0.625 * y - 0.041 and y >= 0.500 - 0.500 * x
    ),
    (EN_12368, "red"): lambda x, y: 0.290 <= y <= 0.320 and y >= 0.980 - x,
    (EN_12368, "yellow"): lambda x, y: y >= 0.387 and y >= 0.980 - x and y <= 0.727 * x + 0.054,
    (EN_12368, "green"): lambda x, y: y <= 0.726 - 0.726 * x and x <= 0.625 * y - 0.041 and y >= 0.400,
    (ITE, "red"): lambda x, y: y <= 0.308 and y >= 0.998 - x,
    (ITE, "yellow"): lambda x, y: 0.411 <= y <= 0.452 and y >= 0.995 - x,
    (ITE, "green"): lambda x, y: y >= 0.506 - 0.519 * x and y >= 0.150 + 1.068 * x and y <= 0.730 - x,
}
"""Whether x and y are inside, by standard and colour."""
