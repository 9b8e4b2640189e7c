# mypy: allow-untyped-defs, allow-untyped-calls, allow-untyped-decorators, no-check-untyped-defs
"""The compiled reader of ASCII STL: one pass over the bytes, no copy of the text.

A number is read as its digits and a power of ten.  Up to 2⁵³ and 10²² both are exact in double
precision, so their product or quotient is the correctly rounded value (Clinger 1990, "How to read
floating point numbers accurately", the fast path).  Other numbers are left to the caller, who
gets their places.
"""

from __future__ import annotations

import numpy as np
from numba import njit

# What the reader waits for.
OUTSIDE, SOLID, FACET, OUTER, VERTEX, ENDLOOP, ENDFACET = range(7)
# What went wrong.
FINE, WORD, NUMBER, COMMA, NOT_FINITE, CORNERS = range(6)
# Places in the state: where, waiting for, corners so far in this loop, numbers written, solids
# begun, solids ended, numbers left to the caller.
AT, STATE, CORNER, FILLED, BEGUN, ENDED, LEFT = range(7)
STATE_SIZE = 7

POWERS = np.array([10.0**k for k in range(23)])


@njit(nogil=True, cache=True, error_model="numpy", inline="always")
def _blank(c):
    return c == 32 or (9 <= c <= 13)


@njit(nogil=True, cache=True, error_model="numpy")
def _is(text, at, end, word):
    """Whether the token at … end is this word, in any case."""
    if end - at != len(word):
        return False
    for i in range(len(word)):
        c = text[at + i]
        if 65 <= c <= 90:
            c += 32
        if c != word[i]:
            return False
    return True


@njit(nogil=True, cache=True, error_model="numpy")
def _number(text, at, end):
    """Return (value, what): FINE, LEFT-over (−1) or what is wrong with the token."""
    i = at
    negative = text[i] == 45
    if text[i] == 45 or text[i] == 43:
        i += 1
    digits = np.uint64(0)
    power = 0
    some = False
    long = False
    point = False
    while i < end:
        c = text[i]
        if 48 <= c <= 57:
            some = True
            if digits < np.uint64(900719925474099):
                digits = digits * np.uint64(10) + np.uint64(c - 48)
                if point:
                    power -= 1
            else:
                long = True
        elif c == 46 and not point:
            point = True
        else:
            break
        i += 1
    if i < end and text[i] == 44:
        return 0.0, COMMA
    if not some:
        # inf and nan in any spelling C writes them
        c = text[i] | 32 if i < end else 0
        if c == 105 or c == 110:
            return 0.0, NOT_FINITE
        return 0.0, NUMBER
    if i < end and (text[i] | 32) == 101:
        i += 1
        down = i < end and text[i] == 45
        if i < end and (text[i] == 45 or text[i] == 43):
            i += 1
        if i >= end:
            return 0.0, NUMBER
        exponent = 0
        while i < end and 48 <= text[i] <= 57:
            exponent = min(exponent * 10 + np.int64(text[i] - 48), 100000)
            i += 1
        power += -exponent if down else exponent
    if i < end:
        return 0.0, COMMA if text[i] == 44 else NUMBER
    if digits == np.uint64(0) and not long:
        return 0.0, FINE
    if long or power > 22 or power < -22:
        return 0.0, -1
    value = float(digits)
    value = value * POWERS[power] if power >= 0 else value / POWERS[-power]
    return (-value if negative else value), FINE


@njit(nogil=True, cache=True, error_model="numpy")
def read_text(text, stop, state, numbers, left, words):
    """Read on from ``state[AT]`` until `stop` (or a little beyond) or the end.

    `numbers` takes the coordinates one after the other, `left` rows (number, first byte, end) of
    those the caller must read.  Returns (what, first byte, end) of the offending token.
    """
    size = text.shape[0]
    at = state[AT]
    waits = state[STATE]
    corner = state[CORNER]
    filled = state[FILLED]
    while at < stop:
        while at < size and _blank(text[at]):
            at += 1
        if at >= size:
            break
        end = at + 1
        while end < size and not _blank(text[end]):
            end += 1
        if waits == VERTEX and corner < 3 and _is(text, at, end, words[4]):
            at = end
            for _ in range(3):
                while at < size and _blank(text[at]):
                    at += 1
                end = at
                while end < size and not _blank(text[end]):
                    end += 1
                if at == end:
                    return NUMBER, at, end
                value, what = _number(text, at, end)
                if what > 0:
                    return what, at, end
                if what < 0:
                    if state[LEFT] >= left.shape[0]:
                        return -1, at, end
                    left[state[LEFT], 0] = filled
                    left[state[LEFT], 1] = at
                    left[state[LEFT], 2] = end
                    state[LEFT] += 1
                numbers[filled] = value
                filled += 1
                at = end
            corner += 1
            if corner == 3:
                waits = ENDLOOP
            continue
        if waits == ENDLOOP and _is(text, at, end, words[5]):
            waits = ENDFACET
        elif waits == ENDFACET and _is(text, at, end, words[6]):
            waits = SOLID
        elif waits == OUTER and _is(text, at, end, words[2]):
            at = end
            while at < size and _blank(text[at]):
                at += 1
            end = at
            while end < size and not _blank(text[end]):
                end += 1
            if not _is(text, at, end, words[3]):
                return WORD, at, end
            waits = VERTEX
            corner = 0
        elif (waits == SOLID or waits == OUTSIDE) and _is(text, at, end, words[1]):
            # "normal" and its three numbers: what they say follows from the corners.
            for _ in range(4):
                at = end
                while at < size and _blank(text[at]):
                    at += 1
                end = at
                while end < size and not _blank(text[end]):
                    end += 1
            waits = OUTER
        elif (waits == SOLID or waits == OUTSIDE) and (
            _is(text, at, end, words[0]) or _is(text, at, end, words[7])
        ):
            if _is(text, at, end, words[0]):
                waits = SOLID
                state[BEGUN] += 1
            else:
                waits = OUTSIDE
                state[ENDED] += 1
            while end < size and text[end] != 10 and text[end] != 13:
                end += 1
        else:
            if (waits == VERTEX and _is(text, at, end, words[5])) or (
                waits == ENDLOOP and _is(text, at, end, words[4])
            ):
                return CORNERS, at, end
            return WORD, at, end
        at = end
        # A slice ends between two facets, so that a slice never starts inside one.
        state[AT] = at
        state[STATE] = waits
        state[CORNER] = corner
        state[FILLED] = filled
    state[AT] = at
    state[STATE] = waits
    state[CORNER] = corner
    state[FILLED] = filled
    return FINE, at, at


# What is wrong with a line of an OBJ, besides the above.
INDEX, FEW = 6, 7
# Places in its state: where, numbers written, corners written, numbers left to the caller, the
# highest point a face may name, polygons with more than three corners, lines of free-form shapes.
OBJ_AT, OBJ_FILLED, OBJ_CORNERS, OBJ_LEFT, OBJ_LIMIT, OBJ_POLYGONS, OBJ_CURVES = range(7)


@njit(nogil=True, cache=True, error_model="numpy", inline="always")
def _gap(text, at):
    """Go over blanks that do not end the line; a backslash before the line's end joins lines."""
    size = text.shape[0]
    while at < size:
        c = text[at]
        if c == 32 or c == 9:
            at += 1
        elif c == 92 and at + 1 < size and text[at + 1] == 10:
            at += 2
        elif c == 92 and at + 2 < size and text[at + 1] == 13 and text[at + 2] == 10:
            at += 3
        else:
            break
    return at


@njit(nogil=True, cache=True, error_model="numpy", inline="always")
def _token_end(text, at):
    size = text.shape[0]
    while at < size and not _blank(text[at]):
        at += 1
    return at


@njit(nogil=True, cache=True, error_model="numpy")
def _index(text, at, end, points, limit):
    """Return the 0-based point of a face's corner "a", "a/b", "a//c" or "a/b/c"; −1 if wrong."""
    i = at
    negative = text[i] == 45
    if negative:
        i += 1
    value = np.int64(0)
    some = False
    while i < end and 48 <= text[i] <= 57:
        value = min(value * 10 + np.int64(text[i] - 48), np.int64(1) << np.int64(40))
        some = True
        i += 1
    if not some or (i < end and text[i] != 47):
        return np.int64(-2)
    if value == 0 or value > limit or (negative and value > points):
        return np.int64(-1)
    return points - value if negative else value - 1


@njit(nogil=True, cache=True, error_model="numpy")
def read_obj(text, stop, state, numbers, left, corners):
    """Read whole lines of an OBJ from ``state[OBJ_AT]`` until `stop` or the end.

    `numbers` takes the coordinates, `corners` the points of the triangles (polygons are fanned
    from their first corner), `left` as in `read_text`.  Returns (what, first byte, end).
    """
    size = text.shape[0]
    at = state[OBJ_AT]
    while at < stop:
        filled = state[OBJ_FILLED]
        at = _gap(text, at)
        end = _token_end(text, at)
        if end == at + 1 and text[at] == 118:  # v
            start = at
            for k in range(3):
                at = _gap(text, end)
                end = _token_end(text, at)
                if at == end:
                    return FEW, start, end
                value, what = _number(text, at, end)
                if what > 0:
                    return what, at, end
                if what < 0:
                    if state[OBJ_LEFT] >= left.shape[0]:
                        return -1, at, end
                    left[state[OBJ_LEFT], 0] = filled + k
                    left[state[OBJ_LEFT], 1] = at
                    left[state[OBJ_LEFT], 2] = end
                    state[OBJ_LEFT] += 1
                numbers[filled + k] = value
            state[OBJ_FILLED] = filled + 3
        elif end == at + 1 and text[at] == 102:  # f
            start = at
            points = filled // 3
            written = state[OBJ_CORNERS]
            first = np.int64(-1)
            before = np.int64(-1)
            count = 0
            while True:
                at = _gap(text, end)
                end = _token_end(text, at)
                if at == end or text[at] == 35:
                    break
                point = _index(text, at, end, points, state[OBJ_LIMIT])
                if point == -2:
                    return NUMBER, at, end
                if point < 0:
                    return INDEX, at, end
                count += 1
                if count == 1:
                    first = point
                elif count > 2:
                    corners[written] = first
                    corners[written + 1] = before
                    corners[written + 2] = point
                    written += 3
                before = point
            if count < 3:
                return CORNERS, start, end
            if count > 3:
                state[OBJ_POLYGONS] += 1
            state[OBJ_CORNERS] = written
        elif end == at + 4 and (
            (text[at] == 99 and text[at + 1] == 117 and text[at + 2] == 114)
            or (text[at] == 115 and text[at + 1] == 117 and text[at + 2] == 114)
        ):  # curv, surf
            state[OBJ_CURVES] += 1
        while end < size and text[end] != 10 and text[end] != 13:
            end += 1
        at = end
        while at < size and (text[at] == 10 or text[at] == 13):
            at += 1
        state[OBJ_AT] = at
    return FINE, at, at
