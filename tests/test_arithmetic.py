"""From aspects to bytes all arithmetic is on whole numbers: the tree is, and planted violations are found."""

from __future__ import annotations

from typing import Final

import pytest

from tests.support.arithmetic import arithmetic
from tests.support.rules import check_all
from tests.support.tree import ROOT, sources

ROOMS: Final = frozenset({"logic", "light", "chain", "trial", "engine"})
"""The rooms between an event and the bytes on the data line."""

PLANNING: Final[dict[str, str]] = {}
"""Files of these rooms that may use floats, each with the reason: what they plan at load is rounded to table
entries before it reaches a frame. None today."""

DECIMAL_TABLES: Final[dict[str, str]] = {
    "bridge/light/chromaticity.py": "where colours lie is worked out while a layout is read",
    "bridge/light/solving.py": "so are the shares of the dies, which are rounded once to 16 bits",
    "bridge/light/filament.py": "a filament follows a differential equation, solved when a layout is read",
}
"""Files that build tables with `decimal`, each with the reason: they may divide and raise to a power."""


def found(path: str, source: str) -> list[str]:
    """Check one file between an event and the bytes."""
    return arithmetic(path, source, decimal_tables=path in DECIMAL_TABLES)


def test_the_tree_computes_on_whole_numbers() -> None:
    """No file from aspects to bytes uses a float, or anything that could make one."""
    tree = {
        path: source
        for path, source in sources("bridge").items()
        if path.removesuffix(".py").split("/")[1] in ROOMS and path not in PLANNING
    }
    assert tree
    assert [] == check_all(tree, found)


def test_no_exception_outlives_its_file() -> None:
    """A file that is named as an exception is one of the tree."""
    assert [] == [path for path in (*PLANNING, *DECIMAL_TABLES) if not (ROOT / path).is_file()]


NO_DTYPE: Final = "without a dtype: it would be a float, or the platform's choice"

FLOATS: Final = {
    "level = 0.5": "float literal 0.5",
    "level = 1e3": "float literal 1000.0",
    "level = 2j": "float literal 2j",
    "level = -1.5": "float literal 1.5",
    "level = float(x)": "uses float",
    "def f(level: float): pass": "uses float",
    "levels = map(float, x)": "uses float",
    "level = round(x)": "uses round(): say with // which way it rounds",
    "from math import exp\ny = exp(x)": "uses math.exp: not exact on whole numbers",
    "import math\ny = math.log(x)": "uses math.log: not exact on whole numbers",
    "import math as m\ny = m.pow(x, 2)": "uses math.pow: not exact on whole numbers",
    "import math\ny = math.sin(x)": "uses math.sin: not exact on whole numbers",
    "import math\ny = math.pi": "uses math.pi: not exact on whole numbers",
    "import math\ny = math.floor(x)": "uses math.floor: not exact on whole numbers",
    "import numpy as np\nz = x.astype(np.float32)": "uses numpy.float32: not exact on whole numbers",
    "import numpy as np\nz = np.zeros(4, dtype=np.float64)": "uses numpy.float64: not exact on whole numbers",
    "import numpy as np\ny = np.exp(x)": "uses numpy.exp: not exact on whole numbers",
    "import numpy as np\ny = np.log(x)": "uses numpy.log: not exact on whole numbers",
    "import numpy as np\ny = np.power(x, 2)": "uses numpy.power: not exact on whole numbers",
    "import numpy\ny = numpy.sqrt(x)": "uses numpy.sqrt: not exact on whole numbers",
    "from numpy import sin\ny = sin(x)": "uses numpy.sin: not exact on whole numbers",
    "import numpy as np\ny = np.true_divide(x, 2)": "uses numpy.true_divide: not exact on whole numbers",
    "import numpy as np\ny = np.mean(x)": "uses numpy.mean: not exact on whole numbers",
    "import numpy as np\ny = np.interp(x, a, b)": "uses numpy.interp: not exact on whole numbers",
    "import numpy as np\ny = np.rint(x)": "uses numpy.rint: not exact on whole numbers",
    "y = x.mean()": "calls .mean(): it gives a float",
    "y = x.__truediv__(2)": "calls .__truediv__(): it gives a float",
    "y = x.astype('f4')": "float dtype 'f4'",
    "y = x.view('<f8')": "float dtype '<f8'",
    "y = x.astype(dtype='float32')": "float dtype 'float32'",
    "import numpy as np\ny = np.dtype('double')": "float dtype 'double'",
    "import numpy as np\ny = np.zeros(4)": f"numpy.zeros {NO_DTYPE}",
    "import numpy as np\ny = np.array([1])": f"numpy.array {NO_DTYPE}",
    "import numpy as np\ny = np.full(4, 1)": f"numpy.full {NO_DTYPE}",
    "import numpy as np\ny = np.zeros(4, 'f4')": "float dtype 'f4'",
    "import statistics": "imports statistics: it is not made for whole numbers",
    "from fractions import Fraction": "imports fractions: it is not made for whole numbers",
    "import numpy as np\ny = np.linalg.norm(x)": "imports numpy.linalg: it is not made for whole numbers",
}

DIVISIONS: Final = {
    "y = x / 2": "true division: use // on whole numbers",
    "x /= 2": "true division: use // on whole numbers",
    "y = 2 ** x": "power with an exponent that is not a written whole number: it may turn into a float",
    "y = 2 ** -1": "power with an exponent that is not a written whole number: it may turn into a float",
    "x **= n": "power with an exponent that is not a written whole number: it may turn into a float",
    "y = pow(x, n)": "power with an exponent that is not a written whole number: it may turn into a float",
    "import operator\ny = operator.truediv(x, 2)": "uses operator.truediv: it may turn into a float",
}


@pytest.mark.parametrize(("source", "message"), (FLOATS | DIVISIONS).items())
def test_a_float_is_found(source: str, message: str) -> None:
    """Whatever is a float, makes one, or may make one, is found with its line."""
    line = source.count("\n") + 1
    assert [f"bridge/light/x.py:{line}: {message}"] == arithmetic("bridge/light/x.py", source)


@pytest.mark.parametrize(("source", "message"), FLOATS.items())
def test_a_file_of_decimal_tables_has_no_floats_either(source: str, message: str) -> None:
    """A file that builds tables with `decimal` may divide, and is held to everything else."""
    line = source.count("\n") + 1
    assert [f"bridge/light/x.py:{line}: {message}"] == arithmetic(
        "bridge/light/x.py", source, decimal_tables=True
    )


@pytest.mark.parametrize("source", DIVISIONS)
def test_a_file_of_decimal_tables_may_divide(source: str) -> None:
    """Division and powers of `decimal` are the same everywhere."""
    assert [] == arithmetic("bridge/light/x.py", source, decimal_tables=True)


@pytest.mark.parametrize(
    "source",
    [
        "y = (x * 65535 + 127) // 255",
        "y = x % 3, x >> 2, divmod(x, 2), abs(x), 2 ** 16, pow(x, 2), pow(2, n, 7)",
        "import math\ny = math.gcd(x, 2), math.isqrt(x)",
        "import numpy as np\ny = np.zeros(4, np.uint16), np.full(4, 1, dtype=np.int64)",
        "import numpy as np\ny = np.frombuffer(b, np.uint8), np.zeros_like(x)",
        "import numpy as np\ny = x.astype(np.uint8), np.add(x, 1, dtype=np.int64), np.take(x, z), x // 2",
        "y = x.astype('u2'), x.view(dtype='<i8')",
        "refused = isinstance(x, float)",
        "def f(x: int, /) -> int: ...",
        "y = 'half/double 0.5'",
    ],
)
def test_whole_numbers_are_let_through(source: str) -> None:
    """Arithmetic on whole numbers with explicit dtypes is no violation."""
    assert [] == arithmetic("bridge/light/x.py", source)
