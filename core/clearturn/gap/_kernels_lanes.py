"""Distances to all eight children of a node at once.

The compiler unrolls a loop over eight children into eight times the plain instructions.  Here the
eight lanes are spelled out, which is several times as fast, and the children within a limit come
back as bits, so that what follows looks at those alone.
"""

from __future__ import annotations

from typing import Any

from llvmlite import ir
from numba import njit, types
from numba.extending import intrinsic

_WIDTH = 8
_LANES = ir.VectorType(ir.FloatType(), _WIDTH)


def _row(context: Any, builder: Any, array_type: Any, array: Any, offset: Any, align: int) -> Any:
    """Pointer to eight numbers at an offset of an array's data."""
    data = context.make_array(array_type)(context, builder, array).data
    place = builder.gep(data, [offset])
    return builder.bitcast(place, _LANES.as_pointer()), align


def _spread(builder: Any, number: Any) -> Any:
    """One number in all lanes."""
    one = builder.insert_element(ir.Constant(_LANES, ir.Undefined), number, _int32(0))
    zeros = ir.Constant(ir.VectorType(ir.IntType(32), _WIDTH), [0] * _WIDTH)
    return builder.shuffle_vector(one, ir.Constant(_LANES, ir.Undefined), zeros)


def _int32(value: int) -> Any:
    return ir.Constant(ir.IntType(32), value)


def _greater(builder: Any, a: Any, b: Any) -> Any:
    return builder.select(builder.fcmp_ordered(">", a, b), a, b)


def _distances(axes: int, boxed: bool, reach: bool) -> Any:
    """Make the function of one kind of node.

    Rows of a node: low ends and high ends of boxes, or coordinates of points; then, with `reach`,
    what is taken off the squared distance.
    """
    rows = (2 * axes if boxed else axes) + reach

    def lanes(
        typing_context: Any, boxes: Any, node: Any, low: Any, high: Any, limit: Any, near: Any
    ) -> Any:
        def generate(context: Any, builder: Any, signature: Any, given: Any) -> Any:
            boxes_, node_, low_, high_, limit_, near_ = given
            start = builder.mul(node_, ir.Constant(node_.type, rows * _WIDTH))

            def row(q: int) -> Any:
                at = builder.add(start, ir.Constant(node_.type, q * _WIDTH))
                place, align = _row(context, builder, signature.args[0], boxes_, at, 4)
                return builder.load(place, align=align)

            total = None
            zero = ir.Constant(_LANES, [0.0] * _WIDTH)
            for q in range(axes):
                least = _spread(builder, builder.extract_value(low_, q))
                step = builder.fsub(row(q), _spread(builder, builder.extract_value(high_, q)))
                if boxed:
                    other = builder.fsub(least, row(axes + q))
                    step = _greater(builder, _greater(builder, step, other), zero)
                square = builder.fmul(step, step)
                total = square if total is None else builder.fadd(total, square)
            if reach:
                total = builder.fsub(total, row(rows - 1))
            place, align = _row(
                context, builder, signature.args[5], near_, ir.Constant(node_.type, 0), 4
            )
            builder.store(total, place, align=align)
            within = builder.fcmp_ordered("<=", total, _spread(builder, limit_))
            bits = builder.bitcast(within, ir.IntType(_WIDTH))
            return builder.zext(bits, ir.IntType(64))

        ends = types.UniTuple(types.float32, axes)
        return types.int64(boxes, types.int64, ends, ends, types.float32, near), generate

    return intrinsic(lanes)


_box_in_space = _distances(3, boxed=True, reach=False)
_box_in_plane = _distances(2, boxed=True, reach=False)
_reach_in_space = _distances(3, boxed=True, reach=True)
_reach_in_plane = _distances(2, boxed=True, reach=True)
_point_in_space = _distances(3, boxed=False, reach=True)
_point_in_plane = _distances(2, boxed=False, reach=True)


@intrinsic
def _trailing_zeros(typing_context: Any, bits: Any) -> Any:
    def generate(context: Any, builder: Any, signature: Any, given: Any) -> Any:
        return builder.cttz(given[0], ir.Constant(ir.IntType(1), 1))

    return types.int64(types.int64), generate


@njit(nogil=True, cache=True, error_model="numpy")
def lowest(bits):
    """Number of the lowest bit that is set; bits must not be 0."""
    return _trailing_zeros(bits)


@njit(nogil=True, cache=True, error_model="numpy")
def boxes_in_space(boxes, node, x0, y0, z0, x1, y1, z1, limit, near):
    """Squared distances of a box to the children of node `node` of (nodes, 6, 8) into near (8,).

    Returns the children within `limit` as bits.
    """
    return _box_in_space(boxes, node, (x0, y0, z0), (x1, y1, z1), limit, near)


@njit(nogil=True, cache=True, error_model="numpy")
def boxes_in_plane(boxes, node, r0, z0, r1, z1, limit, near):
    """As `boxes_in_space` for (nodes, 4, 8)."""
    return _box_in_plane(boxes, node, (r0, z0), (r1, z1), limit, near)


@njit(nogil=True, cache=True, error_model="numpy")
def nodes_in_space(nodes, node, x, y, z, limit, near):
    """As `boxes_in_space` for a point and (nodes, 7, 8), whose last row is taken off."""
    return _reach_in_space(nodes, node, (x, y, z), (x, y, z), limit, near)


@njit(nogil=True, cache=True, error_model="numpy")
def nodes_in_plane(nodes, node, r, z, limit, near):
    """As `nodes_in_space` for (nodes, 5, 8)."""
    return _reach_in_plane(nodes, node, (r, z), (r, z), limit, near)


@njit(nogil=True, cache=True, error_model="numpy")
def leaves_in_space(leaves, node, x, y, z, limit, near):
    """As `nodes_in_space` for the points of a leaf, (nodes, 4, 8)."""
    return _point_in_space(leaves, node, (x, y, z), (x, y, z), limit, near)


@njit(nogil=True, cache=True, error_model="numpy")
def leaves_in_plane(leaves, node, r, z, limit, near):
    """As `leaves_in_space` for (nodes, 3, 8)."""
    return _point_in_plane(leaves, node, (r, z), (r, z), limit, near)
