"""The settings of a node: read once, and refused as a whole if anything in them is wrong.

`lamproom node` on the computer writes them, and its README says what each of them is.
"""

import binascii
import json


def read(path: str) -> dict:
    """Return the settings that a file holds, each picture as bytes.

    Raises:
        ValueError: they cannot be used; the message says what to do.
    """
    try:
        with open(path) as file:
            values = json.load(file)
    except OSError:
        raise ValueError(f"there is no {path}: `lamproom node` on the computer writes one") from None
    except ValueError:
        raise ValueError(f"{path} is not JSON: a comma or a quotation mark may be missing") from None
    try:
        return _checked(values)
    except ValueError as problem:
        raise ValueError(f"{path}: {problem}") from None


def _checked(values: dict) -> dict:
    if not isinstance(values, dict):
        raise ValueError("this is not a node's settings")
    values["node"] = _name(values, "node")
    wifi = values.get("wifi")
    if wifi is not None:
        _entry(wifi, "wifi")
        values["wifi"] = {"name": _text(wifi, "name"), "password": _text(wifi, "password")}
        if not wifi["name"]:
            raise ValueError('"wifi" has no "name": write the network\'s, or null for a board with a cable')
    broker = values.get("broker")
    _entry(broker, "broker")
    values["broker"] = {
        "host": _text(broker, "host"),
        "port": _whole(broker, "port", 1, 65535),
        "user": _text(broker, "user"),
        "password": _text(broker, "password"),
    }
    if not broker["host"]:
        raise ValueError('"broker" has no "host": write the address of the computer that the broker runs on')
    # The bridge asks a node that it believes to be silent each 5 s, and sends all others something each second.
    values["silent_after_s"] = _whole(values, "silent_after_s", 2, 60)
    chains = values.get("chains")
    if not isinstance(chains, list) or not chains:
        raise ValueError('there are no "chains"')
    values["chains"] = [_chain(chain) for chain in chains]
    for what in ("name", "pin"):
        found = [chain[what] for chain in chains]
        twice = [each for each in found if found.count(each) > 1]
        if twice:
            raise ValueError(f'two chains have the "{what}" {twice[0]}')
    return values


def _chain(chain: dict) -> dict:
    _entry(chain, "chains")
    name = _name(chain, "name")
    try:
        step = _whole(chain, "bytes_per_chip", 1, 4)
        longest = _whole(chain, "longest", step, 65000)
        picture = _picture(chain, step, longest)
        pulses = chain.get("pulses_ns")
        if not isinstance(pulses, list) or [n for n in pulses if not isinstance(n, int)] or len(pulses) != 4:
            raise ValueError('"pulses_ns" are four whole numbers')
        when = chain.get("when_silent")
        if when not in ("picture", "hold"):
            raise ValueError('"when_silent" is "picture" or "hold"')
        if when == "hold" and chain.get("signals") is not False:
            raise ValueError('"hold" is not for signals: a frozen flash may look like a better aspect')
        return {
            "name": name,
            "pin": _whole(chain, "pin", 0, 99),
            "bytes_per_chip": step,
            "longest": longest,
            "pulses_ns": tuple(pulses),
            "reset_us": _whole(chain, "reset_us", 1, 5000),
            "when_silent": when,
            "picture": picture,
        }
    except ValueError as problem:
        raise ValueError(f"chain {name}: {problem}") from None


def _picture(chain: dict, step: int, longest: int) -> bytes:
    text = _text(chain, "picture")
    try:
        picture = binascii.unhexlify(text)
    except ValueError:
        raise ValueError('"picture" is not written in hexadecimal digits') from None
    if not picture or len(picture) % step or len(picture) > longest:
        raise ValueError('"picture" is no whole number of chips, or longer than "longest"')
    return picture


def _entry(value: object, key: str) -> None:
    if not isinstance(value, dict):
        raise ValueError(f'"{key}" is missing, or not what it should be')


def _text(values: dict, key: str) -> str:
    value = values.get(key)
    if not isinstance(value, str):
        raise ValueError(f'"{key}" is missing, or not in quotation marks')
    return value


def _name(values: dict, key: str) -> str:
    name = _text(values, key)
    if not name or [letter for letter in name if letter in "/+#\0"]:
        raise ValueError(f'"{key}" is no name that can be part of a topic')
    return name


def _whole(values: dict, key: str, least: int, most: int) -> int:
    value = values.get(key)
    if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= most:
        raise ValueError(f'"{key}" is a whole number from {least} to {most}')
    return value
