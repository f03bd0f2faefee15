"""The node: frames from the broker to the chains, and never an end to it."""

import gc
import json
import time

import frames
import link as mqtt

_AT_ONCE = 32
"""So many packets are read before what they brought is shown, however many more there are."""

_FIGURES_MS = 10_000
_PING_MS = 5_000
_DEAD_MS = 12_000
"""The broker has answered nothing for so long, though it was asked twice: it is not there."""

_BACK_OFF_MS = 250
_MOST_BACK_OFF_MS = 4_000


class Node:
    """A node with its chains.

    The picture for silence stands from the moment this is made.

    Args:
        settings: as `settings.read` gives them.
        lines: makes the data line of a chain from its pin, pulses and reset time.
        network: a `radio.Radio` or `radio.Cable`.
        board: the number that this board has to itself, or nothing.
    """

    def __init__(self, settings: dict, lines: object, network: object, board: bytes) -> None:
        self._name = settings["node"]
        self._silent_ms = settings["silent_after_s"] * 1000
        self._network = network
        self._board = board.hex()
        self._topic = f"lamproom/node/{self._name}".encode()
        self._link = mqtt.Link(
            settings["broker"], f"lamproom-node-{self._name}".encode(), (self._topic, b'{"state": "gone"}')
        )
        self.lanes = [
            frames.Lane(self._name, each, lines(each["pin"], each["pulses_ns"], each["reset_us"]))
            for each in settings["chains"]
        ]
        # A topic is read into the buffer of its own length, which compares to a name without making an object.
        self._topics = {len(lane.topic): bytearray(len(lane.topic)) for lane in self.lanes}
        self._head = bytearray(frames.HEADER)
        self._two = bytearray(2)
        self._obeyed = bytearray(frames.HEADER)  # a header with the highest term that was obeyed
        self._shown = self._passed_over = self._unfit = self._old = self._links = 0
        self._uptime_ms = 0
        self._now = self._told_at = self._pinged = self._heard = time.ticks_ms()
        self._said = ""
        self.rest()

    def rest(self) -> None:
        """Show on each chain what it shows when nobody tells it anything."""
        for lane in self.lanes:
            lane.rest()

    def run(self) -> None:
        """Do what a node does, for ever."""
        back_off = _BACK_OFF_MS
        while True:
            if not self._network.look():
                self._say("waiting for the network")
                self._pause(200)
                continue
            began = self._tick()
            try:
                self._meet()
                while True:
                    self._serve()
            except OSError as problem:
                self._say(f"no broker: {problem}")
            finally:
                self._link.close()
            lasted = time.ticks_diff(self._tick(), began)
            back_off = _BACK_OFF_MS if lasted > _DEAD_MS else min(2 * back_off, _MOST_BACK_OFF_MS)
            self._pause(back_off)

    # ---- the broker ----------------------------------------------------------------------------------------

    def _meet(self) -> None:
        """Connect, say that we are here, and only then ask for frames: so the bridge knows that we acknowledge."""
        self._link.open()
        self._links += 1
        self._heard = self._pinged = self._tick()
        self._link.publish(self._topic, self._figures("here"))
        self._link.subscribe([lane.topic for lane in self.lanes])
        self._say("the broker is there")
        gc.collect()

    def _serve(self) -> None:
        """Read whatever has come, show the newest of it, and look after the time."""
        if self._link.wait(self._until_due()):
            self._read_all()
            self._show_all()
        self._tick()
        self._look_after_link()

    def _read_all(self) -> None:
        for _ in range(_AT_ONCE):
            self._read()
            if not self._link.wait(0):
                break
        self._heard = time.ticks_ms()

    def _read(self) -> None:
        link = self._link
        kind = link.packet()
        if kind == mqtt.PUBLISH:
            self._message()
        elif kind == mqtt.SUBACK:
            link.skip(2)
            for _ in self.lanes:
                link.take(self._two, 1)
                if self._two[0] & 0x80:
                    raise OSError("it does not let us read our frames: see its access rules")
        link.skip()

    def _message(self) -> None:
        link = self._link
        link.take(self._two, 2)
        length = self._two[0] << 8 | self._two[1]
        topic = self._topics.get(length)
        if topic is None or link.flags & 6:  # of a quality of service that nobody asked for
            return
        link.take(topic, length)
        for lane in self.lanes:
            if topic == lane.topic:
                self._frame(lane)
                return

    def _frame(self, lane: frames.Lane) -> None:
        link, head = self._link, self._head
        size = link.left - frames.HEADER
        if size < 0:
            self._unfit += 1
            return
        link.take(head, frames.HEADER)
        found = lane.judge(head, size, self._obeyed)
        if found == frames.UNFIT:
            self._unfit += 1
        elif found == frames.OLD or link.flags & 1:  # a copy that was kept may be as old as it likes
            self._old += 1
        else:
            if lane.waiting:
                self._passed_over += 1
                lane.waiting = False
            link.take(lane.levels, size)
            if frames.newer_term(head, self._obeyed) > 0:
                for at in range(4, 8):
                    self._obeyed[at] = head[at]
            self._head = lane.taken(head, size, time.ticks_ms())

    def _show_all(self) -> None:
        for lane in self.lanes:
            if lane.waiting:
                lane.show()
                self._shown += 1
                size = lane.acknowledgement()
                # What a full link does not take is left out: the next frame is acknowledged, and this one with it.
                if self._link.room():
                    self._link.write(lane.message, 1 if lane.message[1] == 0x30 else 0, size)

    def _look_after_link(self) -> None:
        now = self._now
        if time.ticks_diff(now, self._heard) > _DEAD_MS:
            raise OSError("it does not answer")
        if time.ticks_diff(now, self._pinged) >= _PING_MS:
            self._pinged = now
            if self._link.room():  # a link that takes nothing but brings frames is worth keeping
                self._link.ping()
        if time.ticks_diff(now, self._told_at) >= _FIGURES_MS:
            self._told_at = now
            gc.collect()
            if self._link.room():
                self._link.publish(self._topic + b"/figures", self._figures("here"))

    def _figures(self, state: str) -> bytes:
        figures = {
            "state": state,
            "term": frames.number(self._obeyed),
            "uptime": self._uptime_ms // 1000,
            "frames": self._shown,
            "drops": self._passed_over,
            "unfit": self._unfit,
            "old": self._old,
            "links": self._links,
            "free": gc.mem_free(),
        }
        if self._board:
            figures["board"] = self._board
        strength = self._network.strength()
        if strength is not None:
            figures["strength"] = strength
        outdated = [lane.name for lane in self.lanes if lane.outdated]
        if outdated:
            figures["outdated"] = outdated
        return json.dumps(figures).encode()

    # ---- time ----------------------------------------------------------------------------------------------

    def _until_due(self) -> int:
        """Return after how many milliseconds there is something to do if nothing comes."""
        now = time.ticks_ms()
        due = min(
            _PING_MS - time.ticks_diff(now, self._pinged), _FIGURES_MS - time.ticks_diff(now, self._told_at)
        )
        for lane in self.lanes:
            if not lane.silent:
                due = min(due, self._silent_ms - time.ticks_diff(now, lane.heard))
        return max(due, 0)

    def _tick(self) -> int:
        """Let time pass: a chain that has heard nothing for too long shows its picture. Return the time in ticks."""
        now = time.ticks_ms()
        self._uptime_ms += time.ticks_diff(now, self._now)
        self._now = now
        for lane in self.lanes:
            if not lane.silent and time.ticks_diff(now, lane.heard) >= self._silent_ms:
                lane.rest()
        return now

    def _pause(self, milliseconds: int) -> None:
        began = self._tick()
        while time.ticks_diff(self._tick(), began) < milliseconds:
            time.sleep_ms(20)

    def _say(self, words: str) -> None:
        """Tell whoever sits at the board's serial port, once."""
        if words != self._said:
            self._said = words
            print(words)
