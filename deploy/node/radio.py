"""How the board joins the network: by radio, or not at all because a cable or `boot.py` has done it."""

import time

_AGAIN_MS = 20_000
"""A board that is not in the network by then begins anew: some never would."""


class Cable:
    """The network is there, and is somebody else's business."""

    def look(self) -> bool:
        """Return whether the network is there."""
        return True

    def strength(self) -> int | None:
        """Return the strength of the signal, dBm: there is none."""
        return None


class Radio:
    """Wi-Fi.

    Args:
        wifi: `name` and `password` of the network.
    """

    def __init__(self, wifi: dict) -> None:
        import network

        self._wifi = wifi
        self._station = network.WLAN(network.STA_IF)
        self._asked = None
        try:
            self._station.active(True)
            # Asleep between two beacons it would hold a frame for a tenth of a second and more.
            self._station.config(pm=network.WLAN.PM_NONE)
        except (AttributeError, OSError, ValueError):
            pass

    def look(self) -> bool:
        """Return whether the network is joined; ask to be let in if it is time for that. It does not wait."""
        if self._station.isconnected():
            self._asked = None
            return True
        now = time.ticks_ms()
        if self._asked is None or time.ticks_diff(now, self._asked) > _AGAIN_MS:
            if self._asked is not None:
                self._try(self._station.active, False)
            self._asked = now
            self._try(self._station.active, True)
            self._try(self._station.disconnect)
            self._try(self._station.connect, self._wifi["name"], self._wifi["password"])
        return False

    def strength(self) -> int | None:
        """Return the strength of the signal, dBm, or None if it is not known."""
        try:
            return self._station.status("rssi")
        except (OSError, ValueError, TypeError):
            return None

    def _try(self, call: object, *words: object) -> None:
        try:
            call(*words)
        except OSError as problem:  # boards differ in what they mind; the next look tells whether it mattered
            print("Wi-Fi:", problem)
