"""Draw how the gap's time grows with the triangles, from what bench_gap.py measured.

Its numbers are those of ``bench_gap.py --growth --json tests/benchmarks/results/gap_growth.json``.
"""

from __future__ import annotations

import json
import math
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
MEASURED = ROOT / "tests" / "benchmarks" / "results" / "gap_growth.json"

WIDE, HIGH, LEFT, TOP, RIGHT, FOOT = 620, 380, 64, 16, 150, 48
X, Y = (4.5, 7.0), (-2.5, 0.5)  # powers of ten: triangles, seconds
LINES = (
    ("one_shot_s", "two bare meshes", "#1f5f8b", ""),
    ("prepare_s", "the wheel's image alone", "#2f7d4f", "7 3"),
    ("kept_s", "wheel kept, caliper moved", "#a8321e", "2 3"),
)
INK, PALE = "#222222", "#c9cfd4"


def at(count: float, seconds: float) -> tuple[float, float]:
    """Return a point of the page."""
    x = LEFT + (math.log10(count) - X[0]) / (X[1] - X[0]) * (WIDE - LEFT - RIGHT)
    y = TOP + (Y[1] - math.log10(seconds)) / (Y[1] - Y[0]) * (HIGH - TOP - FOOT)
    return round(x, 1), round(y, 1)


def path(points: list[tuple[float, float]], colour: str, dash: str, width: float = 2.0) -> str:
    """Return a line through points of the page."""
    way = "M" + "L".join(f"{x} {y}" for x, y in points)
    style = f'fill="none" stroke="{colour}" stroke-width="{width}"'
    return f'<path d="{way}" {style}' + (f' stroke-dasharray="{dash}"' if dash else "") + "/>"


def word(x: float, y: float, text: str, anchor: str = "start", colour: str = INK) -> str:
    """Return a word at a point of the page."""
    return f'<text x="{x}" y="{y}" text-anchor="{anchor}" fill="{colour}">{text}</text>'


def axes() -> list[str]:
    """Return the grid with its numbers."""
    made = []
    for count, text in ((1e5, "100 000"), (1e6, "1 million"), (1e7, "10 million")):
        (x, foot), (_, head) = at(count, 10 ** Y[0]), at(count, 10 ** Y[1])
        made += [path([(x, foot), (x, head)], PALE, "", 1.0), word(x, foot + 18, text, "middle")]
    for seconds, text in ((0.01, "0.01 s"), (0.1, "0.1 s"), (1.0, "1 s")):
        (x, y), (end, _) = at(10 ** X[0], seconds), at(10 ** X[1], seconds)
        made += [path([(x, y), (end, y)], PALE, "", 1.0), word(x - 6, y + 4, text, "end")]
    middle, foot = at(10 ** (sum(X) / 2), 10 ** Y[0])
    return [*made, word(middle, foot + 38, "triangles of the wheel", "middle")]


def n_log_n(rows: list[dict[str, float]]) -> str:
    """Return the line of n log n through the first preparation."""
    count, seconds = rows[0]["triangles"], rows[0]["prepare_s"]
    steps = [10 ** (X[0] + 0.05 * k) for k in range(1, 51)]
    grown = [(n, seconds * n * math.log(n) / (count * math.log(count))) for n in steps]
    inside = [at(n, s) for n, s in grown if 10 ** Y[0] <= s <= 10 ** Y[1]]
    return path(inside, "#777777", "1 4", 1.5) + word(
        inside[-1][0] + 4, inside[-1][1] - 6, "n log n", "end", "#666666"
    )


def main() -> int:
    """Write growth.svg beside this script."""
    rows = json.loads(MEASURED.read_text(encoding="utf-8"))["growth"]
    parts = [*axes(), n_log_n(rows)]
    for key, name, colour, dash in LINES:
        points = [at(row["triangles"], row[key]) for row in rows]
        parts.append(path(points, colour, dash))
        parts += [f'<circle cx="{x}" cy="{y}" r="3" fill="{colour}"/>' for x, y in points]
        parts.append(word(points[-1][0] + 8, points[-1][1] + 4, name, colour=colour))
    text = "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDE}" height="{HIGH}" '
            f'viewBox="0 0 {WIDE} {HIGH}" font-family="sans-serif" font-size="12" fill="none">',
            "  <title>Time of a turning gap against the wheel's triangles</title>",
            '  <rect width="100%" height="100%" fill="white"/>',
            *(f"  {part}" for part in parts),
            "</svg>\n",
        ]
    )
    (HERE / "growth.svg").write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
