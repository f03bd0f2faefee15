"""One chain of a node: which frames it takes, what it shows when nobody tells it, and how it says what it shows.

Nothing here makes an object for a frame, because collecting garbage stops a board for milliseconds. That is why
numbers of 32 bits are compared byte by byte and half by half: as numbers they would be objects on a 32-bit board.
"""

HEADER = 12
"""Bytes before the levels: format, flags, two kept free, four of term, four of sequence."""

_FORMAT = 1
_FLAGS = 1
_LAMP_TEST = 2
_TERM = 4
_SEQUENCE = 8

FIT, UNFIT, OLD = 0, 1, 2
"""What is to be said of a header: the frame may be shown, cannot be, or comes too late."""


def newer_term(a: bytearray, b: bytearray) -> int:
    """Return what is above 0 if header `a` has a higher term than header `b`, and 0 if it is the same."""
    for at in range(_TERM, _SEQUENCE):
        if a[at] != b[at]:
            return a[at] - b[at]
    return 0


def newer_sequence(a: bytearray, b: bytearray) -> bool:
    """Return whether the sequence of header `a` comes after that of `b`: RFC 1982 with 32 bits."""
    low = (a[10] << 8 | a[11]) - (b[10] << 8 | b[11])
    high = (a[8] << 8 | a[9]) - (b[8] << 8 | b[9])
    if low < 0:
        high -= 1
    high &= 0xFFFF
    return high < 0x8000 and (high | low) != 0


def number(header: bytearray) -> int:
    """Return the term of a header. It may be an object: this is for announcements."""
    return int.from_bytes(header[_TERM:_SEQUENCE], "big")


class Lane:
    """A chain: the newest frame that came for it, and the picture for when none comes.

    Attributes:
        name: of the chain.
        header: that of the frame in `levels`.
        levels: where the next frame is read into; what is there counts only while `waiting`.
        waiting: a whole frame was read and is not shown yet.
        silent: nothing has come for so long that the picture stands.
        heard: when the last frame was taken, in ticks.
        message: an acknowledgement, ready to be sent; `acknowledgement` fills it in.
    """

    def __init__(self, node: str, settings: dict, line: object) -> None:
        self.name = settings["name"]
        self.topic = f"lamproom/frame/{node}/{self.name}".encode()
        self.header = bytearray(HEADER)
        self.levels = bytearray(settings["longest"])
        self.waiting = False
        self.silent = False
        self.heard = 0
        self._line = line
        self._step = settings["bytes_per_chip"]
        self._hold = settings["when_silent"] == "hold"
        self._picture = settings["picture"]
        self._taken = False  # a frame was taken since the program began
        self._size = 0  # bytes of the newest frame, those of lamp tests left out
        self._reach = 0  # bytes of the longest so far: what hangs there may be lit
        self._view = memoryview(self.levels)
        shown = f"lamproom/shown/{node}/{self.name}".encode()
        # Three bytes for the head of the packet, of which a short one leaves the first; 21 for two numbers.
        self.message = bytearray(5) + shown + bytearray(21)
        self.message[3] = len(shown) >> 8
        self.message[4] = len(shown) & 0xFF
        self._numbers = 5 + len(shown)

    def judge(self, header: bytearray, size: int, obeyed: bytearray) -> int:
        """Say whether a frame may be shown.

        One of a lamp test may have any length that there is room for: it lights chips that are soldered and are not in
        the settings yet, of other sizes perhaps.

        Args:
            header: of the frame.
            size: bytes of its levels.
            obeyed: a header with the highest term that the node has obeyed.
        """
        if header[0] != _FORMAT or size <= 0 or size > len(self.levels):
            return UNFIT
        if size % self._step and not header[_FLAGS] & _LAMP_TEST:
            return UNFIT
        if newer_term(header, obeyed) < 0:
            return OLD
        if self._taken and newer_term(header, self.header) == 0 and not newer_sequence(header, self.header):
            return OLD
        return FIT

    def taken(self, header: bytearray, size: int, now: int) -> bytearray:
        """Note that the levels of a frame were read; return the old header, to be read into next."""
        old, self.header = self.header, header
        self.waiting = True
        self.silent = False
        self.heard = now
        self._taken = True
        if not header[_FLAGS] & _LAMP_TEST:
            self._size = size
        if size > self._reach:
            self._reach = size
            self._view = memoryview(self.levels)[:size]
        # What hung behind a chain that has become shorter would go on showing what it showed: it goes dark.
        for at in range(size, self._reach):
            self.levels[at] = 0
        return old

    def show(self) -> None:
        """Show the frame that waits."""
        self.waiting = False
        self._line.show(self._view)

    def rest(self) -> None:
        """Show what the chain shows while nobody tells it anything.

        A picture that is not as long as the frames that came is one of another layout: it could light the wrong lamp of
        a signal, and a signal that is dark is the safer one.
        """
        self.silent = True
        self.waiting = False
        if self._hold:
            return
        picture = bytes(len(self._picture)) if self.outdated else self._picture
        self._line.show(picture + bytes(max(self._reach - len(picture), 0)))

    @property
    def outdated(self) -> bool:
        """Whether the picture is for a chain of another length than the frames that came."""
        return not self._hold and self._size != 0 and self._size != len(self._picture)

    def acknowledgement(self) -> int:
        """Write term and sequence of what is shown into `message`; return how many bytes are to be sent.

        They begin at byte 1, or at byte 0 where the length of the packet takes two bytes.
        """
        message = self.message
        end = _decimal(message, self._numbers, self.header, _TERM)
        message[end] = 0x20
        end = _decimal(message, end + 1, self.header, _SEQUENCE)
        body = end - 3
        if body < 0x80:
            message[1], message[2] = 0x30, body
            return body + 2
        message[0], message[1], message[2] = 0x30, body & 0x7F | 0x80, body >> 7
        return body + 3


def _decimal(target: bytearray, at: int, header: bytearray, field: int) -> int:
    """Write four bytes of a header as a decimal number and return the place behind it."""
    high = header[field] << 8 | header[field + 1]
    low = header[field + 2] << 8 | header[field + 3]
    begin = at
    while True:  # the last digit first: long division by ten, half by half
        rest = (high % 10 << 16) + low
        high //= 10
        low = rest // 10
        target[at] = 0x30 + rest % 10
        at += 1
        if not high and not low:
            break
    left, right = begin, at - 1
    while left < right:
        target[left], target[right] = target[right], target[left]
        left += 1
        right -= 1
    return at
