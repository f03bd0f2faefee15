"""The rule of whole numbers as a function: source text in, violations as `file:line: message` out.

Float division, powers, exponentials and rounding differ between processors and versions of numpy in their
last bit. One bit is enough to make a replayed frame differ, so none of them may stand between an aspect and
the bytes of its frame.
"""

from __future__ import annotations

import ast
import re
from typing import TYPE_CHECKING, Final

from tests.support.syntax import aliases, dotted

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

WHOLE_MATH: Final = frozenset({"comb", "factorial", "gcd", "isqrt", "lcm", "perm"})
"""The functions of `math` that take and give whole numbers."""

FLOAT_MODULES: Final = frozenset({"cmath", "fractions", "numpy.fft", "numpy.linalg", "statistics"})

_WORDS: Final = """
arccos arccosh arcsin arcsinh arctan arctan2 arctanh around average cbrt ceil complex128 complex64
convolve corrcoef cos cosh deg2rad degrees divide double e exp exp2 expm1 fix float128 float16 float32
float64 float_power floor frexp geomspace gradient half hypot inf interp ldexp linspace log log10 log1p
log2 logaddexp logspace longdouble mean median modf nan nanmean nanmedian nanstd nanvar percentile pi
polyfit polyval pow power quantile rad2deg radians reciprocal rint round sin sinc single sinh sqrt std
tan tanh trapezoid true_divide trunc vander var
"""

FLOAT_NUMPY: Final = frozenset(_WORDS.split())
"""Names of numpy that are floats, give floats for whole numbers, or may do so."""

DTYPE_AT: Final[Mapping[str, int]] = {
    "arange": 3,
    "array": 1,
    "asarray": 1,
    "empty": 1,
    "frombuffer": 1,
    "fromiter": 1,
    "full": 2,
    "ones": 1,
    "zeros": 1,
}
"""Functions of numpy whose dtype is a float, or the platform's choice, unless it is said; and its place."""

FLOAT_METHODS: Final = frozenset({"mean", "std", "var", "__truediv__", "__rtruediv__"})

_FLOAT_DTYPE: Final = re.compile(
    r"[<>=|]?(f|f2|f4|f8|f16|d|e|g|c8|c16|half|single|double|float\d*|complex\d*)"
)


def arithmetic(path: str, source: str, *, decimal_tables: bool = False) -> list[str]:
    """Find arithmetic that is not on whole numbers.

    Args:
        path: the file's path, for the messages.
        source: its text.
        decimal_tables: the file builds tables with `decimal`, whose division and powers are the same
            everywhere: `/` and `**` are allowed there, and everything else stays refused.
    """
    tree = ast.parse(source)
    names = aliases(tree)
    tested = {id(part) for node in ast.walk(tree) for part in _asked_of_isinstance(node)}
    found = {
        (node.lineno, message)
        for node in ast.walk(tree)
        if isinstance(node, ast.expr | ast.stmt) and id(node) not in tested
        for message in _violations(node, names, decimal_tables=decimal_tables)
    }
    return [f"{path}:{line}: {message}" for line, message in sorted(found)]


def _asked_of_isinstance(node: ast.AST) -> Iterator[ast.AST]:
    """Yield the types that an `isinstance` asks about: refusing a float needs its name."""
    match node:
        case ast.Call(func=ast.Name(id="isinstance"), args=[_, types]):
            yield from ast.walk(types)


def _violations(
    node: ast.expr | ast.stmt, names: Mapping[str, str], *, decimal_tables: bool
) -> Iterator[str]:
    match node:
        case ast.Constant(value=float() | complex() as value):
            yield f"float literal {value}"
        case ast.BinOp(op=operator) | ast.AugAssign(op=operator) if not decimal_tables:
            yield from _operator(operator, node.right if isinstance(node, ast.BinOp) else node.value)
        case ast.Name() | ast.Attribute():
            yield from _name(dotted(node, names), decimal_tables=decimal_tables)
        case ast.Call():
            yield from _call(node, names, decimal_tables=decimal_tables)
        case ast.Import():
            yield from (_module(name.name) for name in node.names if name.name in FLOAT_MODULES)
        case ast.ImportFrom() if node.module in FLOAT_MODULES:
            yield _module(node.module)


def _module(name: str) -> str:
    return f"imports {name}: it is not made for whole numbers"


def _operator(operator: ast.operator, right: ast.expr) -> Iterator[str]:
    if isinstance(operator, ast.Div):
        yield "true division: use // on whole numbers"
    elif isinstance(operator, ast.Pow) and not _is_whole(right):
        yield "power with an exponent that is not a written whole number: it may turn into a float"


def _is_whole(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, int)


def _name(name: str, *, decimal_tables: bool) -> Iterator[str]:
    module, _, last = name.rpartition(".")
    if name in {"float", "complex"}:
        yield f"uses {name}"
    elif module == "math" and last not in WHOLE_MATH:
        yield f"uses math.{last}: not exact on whole numbers"
    elif module == "numpy" and last in FLOAT_NUMPY:
        yield f"uses numpy.{last}: not exact on whole numbers"
    elif module in FLOAT_MODULES:
        yield _module(module)
    elif (
        name in {"operator.truediv", "operator.itruediv", "operator.pow", "operator.ipow"}
        and not decimal_tables
    ):
        yield f"uses {name}: it may turn into a float"


def _call(node: ast.Call, names: Mapping[str, str], *, decimal_tables: bool) -> Iterator[str]:
    name = dotted(node.func, names)
    module, _, last = name.rpartition(".")
    dtypes = [keyword.value for keyword in node.keywords if keyword.arg == "dtype"]
    if name == "round":
        yield "uses round(): say with // which way it rounds"
    elif name == "pow" and len(node.args) == 2 and not _is_whole(node.args[1]) and not decimal_tables:
        yield "power with an exponent that is not a written whole number: it may turn into a float"
    elif isinstance(node.func, ast.Attribute) and node.func.attr in FLOAT_METHODS and module != "numpy":
        yield f"calls .{node.func.attr}(): it gives a float"
    elif isinstance(node.func, ast.Attribute) and node.func.attr in {"astype", "view"}:
        dtypes += node.args[:1]
    elif module == "numpy" and last in DTYPE_AT:
        place = DTYPE_AT[last]
        dtypes += node.args[place : place + 1]
        if not dtypes:
            yield f"numpy.{last} without a dtype: it would be a float, or the platform's choice"
    elif name == "numpy.dtype":
        dtypes += node.args[:1]
    for dtype in dtypes:
        if isinstance(dtype, ast.Constant) and _FLOAT_DTYPE.fullmatch(str(dtype.value)):
            yield f"float dtype {dtype.value!r}"
