"""What the board runs when it has power."""

import sys
import time

import machine
import node
import pixels
import radio
import settings


def main() -> None:
    """Run the node; whatever goes wrong, signals go to their most restrictive picture and the board begins anew."""
    try:
        values = settings.read("settings.json")
    except ValueError as problem:
        print(problem)
        return  # to the prompt: only its owner can mend that
    own = None
    try:
        network = radio.Cable() if values["wifi"] is None else radio.Radio(values["wifi"])
        # The number that the chip was made with; MicroPython on a computer has none.
        board = machine.unique_id() if hasattr(machine, "unique_id") else b""
        own = node.Node(values, pixels.Line, network, board)
        own.run()
    except Exception as problem:  # noqa: BLE001 - whatever it is, lights must not stay as they are
        sys.print_exception(problem)
    finally:
        if own is not None:
            own.rest()
    time.sleep(5)  # time to read it, and to stop the board by Ctrl-C
    machine.reset()


if __name__ == "__main__":
    main()
