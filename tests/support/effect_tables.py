"""The tables of the owner's page of effects, made from what runs."""

from __future__ import annotations

from bridge.layout.effects.families import Shape
from bridge.layout.rules.crossings import Figure
from bridge.layout.rules.flashers import FLASHERS


def flashers() -> str:
    """Return the table of flashing lights: what each is, its rate and what that rests on."""
    rows = ["| effect | is | a minute | lit | rate from |", "|---|---|---|---|---|"]
    for rules in FLASHERS.values():
        lit = _range(rules.lit, "%") if rules.shape is Shape.BLINK else "briefly"
        rows.append(
            f"| `{rules.name}` | {rules.title} | {_range(rules.rate)} | {lit} | {rules.rate.source} |"
        )
    return "\n".join(rows)


def _range(figure: Figure, unit: str = "") -> str:
    usual = f"{figure.usual}{unit}"
    if figure.least is None or figure.least == figure.most:
        return usual if figure.least is None else f"{usual} only"
    return f"{usual} ({figure.least}{unit} to {figure.most}{unit})"
