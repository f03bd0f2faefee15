"""Short proofs that bytes are the same: of a layout file, of the tables, and of all frames of a chain.

All digests are BLAKE2b (RFC 7693) of 16 bytes, written as hexadecimal.
"""

from __future__ import annotations

from functools import cache
from hashlib import blake2b
from typing import Final

from bridge.chain.frames import BYTE_OF_LEVEL
from bridge.commands import PublishFrame
from bridge.events import Instant
from bridge.light.lightness import linear_table

LIGHT: Final = 2
"""Which way light is worked out. It is one more wherever the same aspects came to other frames: in 2 a signal's old
picture goes out before the new one comes on, and colours are mixed from the primaries of each chip."""

DIGEST_SIZE: Final = 16
"""Bytes of a digest."""

INSTANT_SIZE: Final = 8
"""Bytes of an instant within what is digested, big-endian."""


def text_digest(text: str) -> str:
    """Return the digest of a layout file's text."""
    return blake2b(text.encode("utf-8", "surrogatepass"), digest_size=DIGEST_SIZE).hexdigest()


@cache
def tables_digest() -> str:
    """Return the digest of what stands between an aspect and its bytes: lightness, bytes, and `LIGHT`."""
    levels = b"".join(level.to_bytes(2, "big") for level in linear_table())
    return blake2b(levels + BYTE_OF_LEVEL.tobytes() + bytes([LIGHT]), digest_size=DIGEST_SIZE).hexdigest()


class ChainDigests:
    """One digest a chain over all its moving frames since the session began.

    Each digest is taken of the one before it, the frame's instant and its levels, so a frame that is lost,
    changed or moved in time shows in every digest after it.
    """

    def __init__(self, keys: tuple[str, ...]) -> None:
        self._keys = keys
        self._digests = [bytes(DIGEST_SIZE)] * len(keys)
        self._moved: set[int] = set()

    def add(self, frame: PublishFrame) -> None:
        """Take one moving frame."""
        data = self._digests[frame.chain] + frame.at.to_bytes(INSTANT_SIZE, "big") + frame.levels
        self._digests[frame.chain] = blake2b(data, digest_size=DIGEST_SIZE).digest()
        self._moved.add(frame.chain)

    def take(self) -> dict[str, str]:
        """Return the digests of the chains that moved since the last call, by chain, in the layout's order."""
        moved = {self._keys[chain]: self._digests[chain].hex() for chain in sorted(self._moved)}
        self._moved.clear()
        return moved

    def resume(self, digests: dict[str, str]) -> None:
        """Go on from what `all` gave; chains that this layout has not are left out."""
        self._digests = [bytes.fromhex(digests.get(key, "00" * DIGEST_SIZE)) for key in self._keys]
        self._moved.clear()

    def all(self) -> dict[str, str]:
        """Return the digests of all chains that ever moved, by chain, in the layout's order."""
        pairs = zip(self._keys, self._digests, strict=True)
        return {key: digest.hex() for key, digest in pairs if any(digest)}


class FrameDigest:
    """One digest over all frames of a session, whatever caused them.

    It is the sum of the digests of the frames, each with its instant and its chain (an incremental digest: M. Bellare
    and D. Micciancio, EUROCRYPT 1997), so that those of the parts of a session add up to that of the whole.
    """

    def __init__(self, keys: tuple[str, ...]) -> None:
        self._names = [len(key.encode()).to_bytes(4, "big") + key.encode() for key in keys]
        self._sum = 0

    def add(self, at: Instant, chain: int, levels: bytes) -> None:
        """Take one frame."""
        data = at.to_bytes(INSTANT_SIZE, "big") + self._names[chain] + levels
        self._sum += int.from_bytes(blake2b(data, digest_size=DIGEST_SIZE).digest(), "big")

    def hex(self) -> str:
        """Return the digest of what was taken so far."""
        return _hex(self._sum)


def sum_of_digests(digests: list[str]) -> str:
    """Return the digest of all frames of which parts have these; empty where they have none."""
    return _hex(sum(int(each, 16) for each in digests)) if all(digests) else ""


def _hex(total: int) -> str:
    return (total % (1 << 8 * DIGEST_SIZE)).to_bytes(DIGEST_SIZE, "big").hex()
