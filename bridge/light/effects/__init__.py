"""From an effect to what each lamp plays, worked out once when a layout is read.

One module for each way in which light comes about; `compose` is the door to them all.
"""

from bridge.light.effects.compose import compose, flashes, hues_of, stilled

__all__ = ["compose", "flashes", "hues_of", "stilled"]
