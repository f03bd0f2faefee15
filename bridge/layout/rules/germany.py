"""Light signals of Germany: main signals, distants, and the one-headed signals that are both."""

from __future__ import annotations

from typing import Final

from bridge.layout.rules.book import Evidence, RuleRow, RuleSet

_RIL: Final = "Ril 301"
_SH1: Final = f"{_RIL}: two whites rise to the right"
_KS: Final = "Ril 301.0102"
_CARDS: Final = "Ril 301 by study cards"
_ZS1: Final = "Ril 301 by an encyclopaedia: one flashing white"
_EXTRA: Final = (
    f"{_KS}: white light above where the braking distance is short, below where the signal is a repeater"
)

HP_SIGNALS: Final = RuleSet(
    name="hp-signals",
    title="Germany, main signals Hp with one red; lamps green, red, yellow, perhaps those of the next set",
    rows=(
        RuleRow("Hp 0", ("red",), Evidence.SEEN, f"{_RIL}; ESO 1959 part I (10)"),
        RuleRow("Hp 0 Sh 1", ("red + lower-white + upper-white",), Evidence.SEEN, _SH1),
        RuleRow("Hp 0 Zs 1", ("red + flashing substitute-white",), Evidence.SECOND_HAND, _ZS1),
        RuleRow("Hp 2", ("green + yellow",), Evidence.SECOND_HAND, _CARDS),
        RuleRow("Hp 1", ("green",), Evidence.MEMORY, "name from ESO 1959; light common practice, no source"),
    ),
    sequence=("Hp 0", "Hp 1"),
)

HP_EXIT_SIGNALS: Final = RuleSet(
    name="hp-exit-signals",
    title="Germany, main signals Hp with two reds side by side; lamps left-red, right-red, lower-white, upper-white",
    rows=(
        RuleRow("Hp 0", ("left-red + right-red",), Evidence.SEEN, f"{_RIL}; ESO 1959 part I (10)"),
        RuleRow(
            "Hp 0 Sh 1",
            ("left-red + lower-white + upper-white",),
            Evidence.SEEN,
            f"{_SH1}; of two reds one stays lit",
        ),
        RuleRow(
            "Hp 0 Zs 1", ("left-red + right-red + flashing substitute-white",), Evidence.SECOND_HAND, _ZS1
        ),
        RuleRow("Hp 2", ("green + yellow",), Evidence.SECOND_HAND, _CARDS),
        RuleRow("Hp 1", ("green",), Evidence.MEMORY, "name from ESO 1959; light common practice, no source"),
    ),
    sequence=("Hp 0", "Hp 1"),
)

_VR: Final = "two lights rising to the right: ESO 1959 part II (18); colours from study cards"

VR_SIGNALS: Final = RuleSet(
    name="vr-signals",
    title="Germany, distants Vr; heads upper and lower, or lamps upper-yellow, upper-green, lower-yellow, lower-green",
    rows=(
        RuleRow("Vr 0", ("yellow / yellow", "upper-yellow + lower-yellow"), Evidence.SECOND_HAND, _VR),
        RuleRow(
            "Vr 2",
            ("green / yellow", "upper-green + lower-yellow"),
            Evidence.SECOND_HAND,
            f"{_VR}; that the green is the upper one: common practice, no source",
        ),
        RuleRow("Vr 1", ("green / green", "upper-green + lower-green"), Evidence.SECOND_HAND, _VR),
    ),
    sequence=("Vr 0", "Vr 1"),
)

KS_SIGNALS: Final = RuleSet(
    name="ks-signals",
    title="Germany, Ks signals; lamps red, green, yellow, perhaps top-white, bottom-white and substitute-white",
    rows=(
        RuleRow("Hp 0", ("red",), Evidence.SEEN, _RIL),
        RuleRow("Hp 0 Sh 1", ("red + lower-white + upper-white",), Evidence.SEEN, _SH1),
        RuleRow("Hp 0 Zs 1", ("red + flashing substitute-white",), Evidence.SECOND_HAND, _ZS1),
        RuleRow("Ks 2 shortened", ("yellow + top-white",), Evidence.SEEN, _EXTRA),
        RuleRow("Ks 2", ("yellow",), Evidence.SEEN, _KS),
        RuleRow("Ks 2 repeater", ("yellow + bottom-white",), Evidence.SEEN, _EXTRA),
        RuleRow("Ks 1 Zs 3v shortened", ("flashing green + top-white",), Evidence.SEEN, _EXTRA),
        RuleRow("Ks 1 Zs 3v", ("flashing green",), Evidence.SEEN, _KS),
        RuleRow("Ks 1 Zs 3v repeater", ("flashing green + bottom-white",), Evidence.SEEN, _EXTRA),
        RuleRow("Ks 1", ("green",), Evidence.SEEN, _KS),
    ),
    sequence=("Hp 0", "Ks 2", "Ks 1"),
)
