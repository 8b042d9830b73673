"""Some trials side by side in compiled code: numbers and truths of COUNT lanes.

A loop over months that works a trial in each lane has no sum that waits for the one before it in the same line of
memory, no remainder, and the same operations for every lane whatever its neighbours hold. Tables have a row of COUNT
doubles a month. There are eight lanes where a register of the processor holds eight doubles, else four: the results
are the same to the last bit, and what numba keeps of one processor it does not use on another.

numba has no such type; it is made here of vectors of LLVM through numba's extension interface. Not of its documented
part: `get_host_cpu_features`, the templates of operators and the option `_nrt`; tested with numba 0.59 and the newest.
"""

from __future__ import annotations

import math
import operator
from collections.abc import Callable
from typing import Any, ClassVar, TypeVar

import numpy as np
from llvmlite import ir
from numba import config, njit, types
from numba.core import cgutils
from numba.core.codegen import get_host_cpu_features
from numba.core.typing import signature
from numba.core.typing.templates import ConcreteTemplate, infer_global
from numba.extending import intrinsic, lower_builtin, models, register_model
from numpy.typing import NDArray

F = TypeVar("F", bound=Callable[..., Any])
Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


def _fitting(features: str) -> int:
    """Lanes for a processor with these features, in LLVM's names."""
    return 8 if "+avx512f" in features.split(",") else 4


COUNT = _fitting(get_host_cpu_features() if config.CPU_FEATURES is None else config.CPU_FEATURES)
CONTRACT = {"contract"}
"""Multiply-adds may be fused; sums are never reordered."""
_NUMBERS = ir.VectorType(ir.DoubleType(), COUNT)
_TRUTHS = ir.VectorType(ir.IntType(1), COUNT)
_WHOLES = ir.VectorType(ir.IntType(64), COUNT)
_INDEX = ir.IntType(32)
_BIAS, _FRACTION_BITS = 1023, 52
"""Of the exponent of a double, and the bits below it."""


def kernel(function: F) -> F:
    """Compiled without counted references: these functions make no array, and counting costs as much as some do."""
    made: F = njit(cache=True, error_model="numpy", fastmath=CONTRACT, _nrt=False)(function)  # type: ignore[call-overload]
    return made


def inlined(function: F) -> F:
    """As `kernel`, built into its callers: to hand over arrays costs as much as some loops."""
    made: F = njit(  # type: ignore[call-overload]
        cache=True, error_model="numpy", fastmath=CONTRACT, _nrt=False, forceinline=True
    )(function)
    return made


def _operation(function: Callable[..., Any]) -> Any:
    """An operation whose code is built for LLVM by what the function returns."""
    return intrinsic(function)


class Numbers(types.Type):  # type: ignore[misc]
    """COUNT doubles."""

    def __init__(self) -> None:
        super().__init__(name=f"Numbers{COUNT}")


class Truths(types.Type):  # type: ignore[misc]
    """COUNT truths."""

    def __init__(self) -> None:
        super().__init__(name=f"Truths{COUNT}")


numbers, truths = Numbers(), Truths()


@register_model(Numbers)
class _NumbersModel(models.PrimitiveModel):  # type: ignore[misc]
    def __init__(self, manager: Any, kind: Any) -> None:
        super().__init__(manager, kind, _NUMBERS)


@register_model(Truths)
class _TruthsModel(models.PrimitiveModel):  # type: ignore[misc]
    def __init__(self, manager: Any, kind: Any) -> None:
        super().__init__(manager, kind, _TRUTHS)


def _operator(symbol: Any, given: Any, found: Any, made: Callable[[Any, Any, Any], Any]) -> None:
    """Give an operator a meaning for two of `given`: made(builder, a, b) builds the code."""

    @infer_global(symbol)
    class _Typed(ConcreteTemplate):  # type: ignore[misc]
        cases: ClassVar = [signature(found, given, given)]

    @lower_builtin(symbol, given, given)
    def _code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        return made(builder, *args)


def _arithmetic(name: str) -> Callable[[Any, Any, Any], Any]:
    return lambda builder, a, b: getattr(builder, name)(a, b, flags=("contract",))


def _bitwise(name: str) -> Callable[[Any, Any, Any], Any]:
    return lambda builder, a, b: getattr(builder, name)(a, b)


def _compared(sign: str) -> Callable[[Any, Any, Any], Any]:
    return lambda builder, a, b: builder.fcmp_ordered(sign, a, b)


for _symbol, _name in (
    (operator.add, "fadd"),
    (operator.sub, "fsub"),
    (operator.mul, "fmul"),
    (operator.truediv, "fdiv"),
):
    _operator(_symbol, numbers, numbers, _arithmetic(_name))
for _symbol, _name in (
    (operator.lt, "<"),
    (operator.le, "<="),
    (operator.gt, ">"),
    (operator.ge, ">="),
    (operator.eq, "=="),
):
    _operator(_symbol, numbers, truths, _compared(_name))
for _symbol, _name in ((operator.and_, "and_"), (operator.or_, "or_"), (operator.xor, "xor")):
    _operator(_symbol, truths, truths, _bitwise(_name))


def _called(builder: Any, name: str, args: Any) -> Any:
    kind = ir.FunctionType(_NUMBERS, [_NUMBERS] * len(args))
    full = f"llvm.{name}.v{COUNT}f64"
    return builder.call(cgutils.get_or_insert_function(builder.module, kind, full), args)


def _shuffled(builder: Any, a: Any, b: Any, order: list[int]) -> Any:
    return builder.shuffle_vector(a, b, ir.Constant(ir.VectorType(_INDEX, COUNT), order))


@_operation
def every(typing: Any, value: Any) -> Any:
    """The same double in every lane."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        none = ir.Constant(_NUMBERS, ir.Undefined)
        first = builder.insert_element(none, args[0], ir.Constant(_INDEX, 0))
        return _shuffled(builder, first, none, [0] * COUNT)

    return numbers(types.float64), code


@_operation
def fused(typing: Any, a: Any, b: Any, c: Any) -> Any:
    """a b + c, rounded once."""
    return numbers(numbers, numbers, numbers), lambda _, builder, __, args: _called(builder, "fma", args)


@_operation
def rounded(typing: Any, values: Any) -> Any:
    """The nearest whole numbers."""
    return numbers(numbers), lambda _, builder, __, args: _called(builder, "rint", args)


@_operation
def truncated(typing: Any, values: Any) -> Any:
    """The whole numbers towards zero."""
    return numbers(numbers), lambda _, builder, __, args: _called(builder, "trunc", args)


@_operation
def magnitude(typing: Any, values: Any) -> Any:
    """Values without their sign."""
    return numbers(numbers), lambda _, builder, __, args: _called(builder, "fabs", args)


@_operation
def choose(typing: Any, which: Any, a: Any, b: Any) -> Any:
    """a where true, else b."""
    return a(truths, a, a), lambda _, builder, __, args: builder.select(*args)


@_operation
def lane(typing: Any, values: Any, at: Any) -> Any:
    """The double, or truth, of one lane."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        return builder.extract_element(args[0], builder.trunc(args[1], _INDEX))

    return (types.float64 if values == numbers else types.boolean)(values, types.intp), code


@_operation
def _bits(typing: Any, which: Any) -> Any:
    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        return builder.zext(builder.bitcast(args[0], ir.IntType(COUNT)), ir.IntType(64))

    return types.int64(truths), code


@_operation
def _power_of_two(typing: Any, whole: Any) -> Any:
    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        biased = builder.add(builder.fptosi(args[0], _WHOLES), ir.Constant(_WHOLES, [_BIAS] * COUNT))
        return builder.bitcast(builder.shl(biased, ir.Constant(_WHOLES, [_FRACTION_BITS] * COUNT)), _NUMBERS)

    return numbers(numbers), code


@_operation
def _binary_exponent(typing: Any, values: Any) -> Any:
    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        bits = builder.lshr(builder.bitcast(args[0], _WHOLES), ir.Constant(_WHOLES, [_FRACTION_BITS] * COUNT))
        return builder.sitofp(builder.sub(bits, ir.Constant(_WHOLES, [_BIAS] * COUNT)), _NUMBERS)

    return numbers(numbers), code


# ---- memory


def _place(context: Any, builder: Any, kind: Any, array: Any, at: Any) -> Any:
    held = context.make_array(kind)(context, builder, array)
    return builder.bitcast(builder.gep(held.data, [at]), _NUMBERS.as_pointer())


def _row(builder: Any, row: Any) -> Any:
    return builder.mul(row, ir.Constant(row.type, COUNT))


@_operation
def _load(typing: Any, array: Any, row: Any) -> Any:
    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        place = _place(context, builder, signature.args[0], args[0], _row(builder, args[1]))
        return builder.load(place, align=8)

    return numbers(array, types.intp), code


@_operation
def _store(typing: Any, array: Any, row: Any, value: Any) -> Any:
    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        place = _place(context, builder, signature.args[0], args[0], _row(builder, args[1]))
        builder.store(args[2], place, align=8)
        return context.get_dummy_value()

    return types.void(array, types.intp, numbers), code


@_operation
def _put(typing: Any, array: Any, at: Any, value: Any) -> Any:
    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        builder.store(args[2], _place(context, builder, signature.args[0], args[0], args[1]), align=8)
        return context.get_dummy_value()

    return types.void(array, types.intp, numbers), code


@_operation
def _turn(typing: Any, source: Any, starts: Any, out: Any, row: Any) -> Any:
    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        found = [
            builder.load(_place(context, builder, signature.args[0], args[0], start), align=8)
            for start in cgutils.unpack_tuple(builder, args[1], COUNT)
        ]
        width = 1
        while width < COUNT:  # squares of this width off the diagonal change places
            low = [i + COUNT - width if i // width % 2 else i for i in range(COUNT)]
            high = [at + width for at in low]
            for i in range(COUNT):
                if not i // width % 2:
                    a, b = found[i], found[i + width]
                    found[i], found[i + width] = _shuffled(builder, a, b, low), _shuffled(builder, a, b, high)
            width *= 2
        for i in range(COUNT):
            at = _row(builder, builder.add(args[3], ir.Constant(args[3].type, i)))
            builder.store(found[i], _place(context, builder, signature.args[2], args[2], at), align=8)
        return context.get_dummy_value()

    return types.void(source, types.UniTuple(types.intp, COUNT), out, types.intp), code


@_operation
def _starts(typing: Any, rows: Any, size: Any, at: Any) -> Any:
    """rows[m] size + at of every lane."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        held = context.make_array(signature.args[0])(context, builder, args[0])
        made = []
        for m in range(COUNT):
            row = builder.load(builder.gep(held.data, [ir.Constant(args[1].type, m)]))
            made.append(builder.add(builder.mul(row, args[1]), args[2]))
        return context.make_tuple(builder, signature.return_type, made)

    return types.UniTuple(types.intp, COUNT)(rows, types.intp, types.intp), code


@kernel
def load(array: Array, row: int) -> Any:
    """Row `row` of an array (rows, COUNT)."""
    _ = array[row, 0]  # finds a row out of bounds where bounds are checked
    return _load(array, row)


@kernel
def store(array: Array, row: int, value: Any) -> None:
    """Write row `row` of an array (rows, COUNT)."""
    _ = array[row, 0]
    _store(array, row, value)


@kernel
def put(array: Array, r: int, s: int, at: int, value: Any) -> None:
    """array[r, s, at + m] = value in lane m, of an array of three axes in C order."""
    _ = array[r, s, at + COUNT - 1]
    _put(array, (r * array.shape[1] + s) * array.shape[2] + at, value)


@kernel
def turn(source: Array, rows: IntArray, count: int, out: Array, base: int) -> None:
    """out[base + i, m] = source[rows[m], i], i < count; rows of `source` become columns of `out`."""
    size, whole = source.shape[1], count // COUNT * COUNT
    _ = out[base + count - 1, 0]
    for m in range(COUNT):
        _ = source[rows[m], count - 1]
    for i in range(0, whole, COUNT):
        _turn(source, _starts(rows, size, i), out, base + i)
    for i in range(whole, count):
        for m in range(COUNT):
            out[base + i, m] = source[rows[m], i]


# ---- functions


@kernel
def least(a: Any, b: Any) -> Any:
    """The smaller of two in each lane."""
    return choose(a < b, a, b)


@kernel
def most(a: Any, b: Any) -> Any:
    """The larger of two in each lane."""
    return choose(a > b, a, b)


@kernel
def some(which: Any) -> bool:
    """Whether any lane is true."""
    return _bits(which) != 0


@kernel
def negated(which: Any) -> Any:
    """The opposite of truths."""
    return which ^ (every(0.0) == every(0.0))


_LN2_HIGH, _LN2_LOW = 6.93147180369123816490e-01, 1.90821492927058770002e-10
"""ln 2 in two parts, the first with zeros at its end."""
_PER_FACTORIAL = tuple(1.0 / math.factorial(k) for k in range(14))
_LOG = (
    6.666666666666735130e-01,
    3.999999999940941908e-01,
    2.857142874366239149e-01,
    2.222219843214978396e-01,
    1.818357216161805012e-01,
    1.531383769920937332e-01,
    1.479819860511658591e-01,
)
"""Coefficients of the minimax polynomial of ln(1 + f) in f/(2 + f), squared, after Tang (1990): from memory, verified
against NumPy in tests/engine/test_lanes.py."""


@kernel
def growth(x: Any) -> Any:
    """exp(x) - 1, to 5e-16 of its value, for |x| < 700: x = n ln 2 + r, the series of exp in r to the 13th power."""
    n = rounded(x * every(1.0 / math.log(2.0)))
    r = fused(n, every(-_LN2_LOW), fused(n, every(-_LN2_HIGH), x))
    r2 = r * r
    r4 = r2 * r2
    c = _PER_FACTORIAL
    p2, p4 = fused(r, every(c[3]), every(c[2])), fused(r, every(c[5]), every(c[4]))
    p6, p8 = fused(r, every(c[7]), every(c[6])), fused(r, every(c[9]), every(c[8]))
    p10, p12 = fused(r, every(c[11]), every(c[10])), fused(r, every(c[13]), every(c[12]))
    low, middle, high = fused(r2, p4, p2), fused(r2, p8, p6), fused(r2, p12, p10)
    small = fused(r2, fused(r4, fused(r4, high, middle), low), r)
    scale = _power_of_two(n)
    return fused(scale, small, scale - every(1.0))


@kernel
def logarithm_past_one(x: Any) -> Any:
    """ln(1 + x), to 5e-16 of its value, for x > -1: 1 + x = m 2^e, m from sqrt(1/2) to sqrt(2)."""
    one = every(1.0)
    y = one + x
    lost = x - (y - one)
    e = _binary_exponent(y * every(math.sqrt(0.5))) + one
    f = y * _power_of_two(every(0.0) - e) - one
    s = f / (every(2.0) + f)
    z = s * s
    w = z * z
    c = _LOG
    even = w * fused(w, fused(w, every(c[5]), every(c[3])), every(c[1]))
    odd = z * fused(w, fused(w, fused(w, every(c[6]), every(c[4])), every(c[2])), every(c[0]))
    half = every(0.5) * f * f
    tail = fused(e, every(_LN2_LOW), lost / y)
    return fused(e, every(_LN2_HIGH), f - (half - fused(s, half + even + odd, tail)))
