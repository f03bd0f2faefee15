"""The planted cases: one for each way in which an aspect is not what its owner expects."""

from __future__ import annotations

from typing import Final

from tests.support.planted_orders import ORDERS
from tests.support.planted_track import TRACK

CASES: Final = (*ORDERS, *TRACK)
