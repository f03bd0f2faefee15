"""What the page is given to show. The service offers it; the page reads and never writes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable


class View(Protocol):
    """The present state of a bridge, as plain data that JSON can carry.

    Everything here is called on the event loop and must return at once. Each dictionary handed out belongs
    to the page from then on: the page compares it with later ones, so hand out a new one each time and do
    not alter it afterwards.
    """

    @property
    def description_number(self) -> int:
        """A number that differs after each layout that was loaded; the description is read anew then."""
        ...

    def description(self) -> dict[str, Any]:
        """Return what is fixed while one layout is loaded.

        Keys: `layout` and `bridge` (names); `sources`, the names of the event sources; `chains`, a list of `node`,
        `chain`, `output`, `length` (bytes of a frame) and `fixtures`, in wiring order. A fixture has `name`, `build`,
        `first` and `last` (positions of its chips, counted from 1), `line` (in the layout file), perhaps
        `position text` where the two numbers do not say it well, and `heads`, from the top of the mast downwards:
        `name` (may be empty) and `lenses`, also downwards. A lens has a `label` and `dies`, each with `name` (of its
        lamp, or its letter in the data sheet), `byte` (offset in the frame of its chain, from 0), `inverted`, and
        `rgb`: the light of that die at full level, three floats, linear, on the primaries of sRGB (IEC 61966-2-1).
        The dies of a lens add up; a component may be below 0, and takes away from the others then.

        `devices`, a list of `name`, perhaps a `title` under which it is shown, `kind` (`signal`, `light`, or what is
        over several of them: `zone`, `master switch`), perhaps `effect` (what a light does, in words; may be empty),
        and `places`: for each fixture that it uses, `fixture`, `chain` (as `node/chain`) and `lenses`: which of the
        fixture's lenses are its own, counted from 0 down the whole mast, rising.
        """
        ...

    def picture(self) -> dict[str, Any]:
        """Return the whole present state.

        Keys: `frames`, levels in wire order as hex, by `node/chain`, with no entry before the first frame;
        `devices`, by name: `aspect`, `reason`, `since` (`HH:MM:SS`, wall time), perhaps `tested` (its lamps show a lamp
        test at present, and not that aspect); `nodes`, by name: `state` (`unheard`, `up`, `lost`) and `text`;
        `sources`, by name: the same, and `failing` where a source is lost by a fault of its own; `chains`, by
        `node/chain`: what was sent, in words; `broker`: `state` (`up`, `lost`, `never`) and `text`; `clock`, `HH:MM` of
        the model clock or None; `lamp test`: `state` (`waiting`, `running`) and `text`, or empty; `counts`: `events`,
        `refused`, `frames`, `changes`.
        """
        ...

    def notes(self, after: int) -> list[dict[str, Any]]:
        """Return the newest notes with a number above `after`, oldest first; the view says how many it keeps.

        A note has `number` (rising from 1), `time` (`HH:MM:SS`, wall time), `level` (`info`, `warning`,
        `error`) and `text`, with what was received where that gave rise to it.
        """
        ...

    def watch(self, changed: Callable[[], None]) -> Callable[[], None]:
        """Have `changed` called after anything above changed, a new note included; it is cheap.

        Returns:
            A function that ends the watching.
        """
        ...
