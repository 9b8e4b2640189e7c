"""``clearturn scatter``: how the least gaps of a job scatter, by trials on the exact engine."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from clearturn_app.cli.options import add_json_option
from clearturn_app.cli.output import (
    EXIT_DONE,
    EXIT_FAILS,
    EXIT_NOT_PROVEN,
    print_json,
    progress_bar,
    table,
)

if TYPE_CHECKING:
    from clearturn.verdict.montecarlo import PairScatter, Scatter

TRIALS = 10_000
MOST_TRIALS = 1_000_000
SHARE = 0.025
"""Of the trials below what is asked: fewer clear, as many above fail (two-sided 95 %, as k = 2)."""
_PLACES = 3

_ABOUT = """\
Moves the parts by drawn errors of their datums, asks the exact engine again in every trial and
takes allowances off at the place it finds: how the least gap scatters, how often it is below what
is asked, and which place is worst how often.  A cross-check of the report's uncertainty, and the
answer where several places compete.  Pairs far above what is asked are left out.
"""


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command with its options."""
    parser = subparsers.add_parser(
        "scatter",
        help="how the least gaps of a job scatter",
        description=_ABOUT,
        epilog="Exit codes: 0 at most 2.5 % of the trials are below what is asked, 1 a pair is "
        "below in at least 97.5 % or is not apart, 3 in between, 2 bad input.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("job", metavar="JOB", help="job file (*.clearturn.json)")
    parser.add_argument(
        "--trials", type=_count, default=TRIALS, metavar="N", help=f"default: {TRIALS}"
    )
    parser.add_argument(
        "--seed", type=int, default=1, metavar="N", help="the same seed, the same answer"
    )
    add_json_option(parser)


def _count(text: str) -> int:
    try:
        value = int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"not a whole number: {text!r}") from None
    if not 10 <= value <= MOST_TRIALS:
        raise argparse.ArgumentTypeError(f"not from 10 to {MOST_TRIALS}: {text!r}")
    return value


def run(args: argparse.Namespace) -> int:
    """Draw the trials, print how the gaps scatter and return the exit code."""
    from clearturn.corner.assemble import assemble
    from clearturn.corner.sources import check_files
    from clearturn.errors import InputError
    from clearturn.job.file import load_job_text
    from clearturn.verdict.montecarlo import scatter_of
    from clearturn.warmup import packages, warm_up_if_cold

    if args.seed < 0:
        raise InputError("a seed cannot be negative", place="--seed", found=str(args.seed))
    read = load_job_text(args.job)
    folder = Path(args.job).parent
    found: list[tuple[str, Scatter]] = []
    with progress_bar() as progress:
        check_files(
            read.job, folder, file=str(args.job), positions=read.positions, progress=progress
        )
        warm_up_if_cold(packages(), progress)
        count = len(read.job.axles)
        for i, axle in enumerate(read.job.axles):
            here = progress.part(i / count, (i + 1) / count)
            corner = assemble(axle.corner, folder, here.part(0.0, 0.1))
            scatter = scatter_of(
                corner.placed.parts, corner.pairs, corner.settings,
                frames_uncertainty=corner.placed.uncertainty, trials=args.trials, seed=args.seed,
                progress=here.part(0.1, 1.0),
            )  # fmt: skip
            found.append((axle.name, scatter))
    if args.json:
        axles = [{"axle": name, **as_json(scatter)} for name, scatter in found]
        print_json({"job": read.job.name, "trials": args.trials, "seed": args.seed, "axles": axles})
    else:
        print(f"{read.job.name}: {args.trials} trials, seed {args.seed}")
        for name, scatter in found:
            print(f"\n{name} axle:\n{as_text(scatter)}")
    return max((exit_code(scatter) for _, scatter in found), key=_rank, default=EXIT_NOT_PROVEN)


def _rank(code: int) -> int:
    return (EXIT_DONE, EXIT_NOT_PROVEN, EXIT_FAILS).index(code)


def exit_code(scatter: Scatter) -> int:
    """Return 0, 3 or 1 by the share of trials below what is asked."""
    shares = [pair.below_required for pair in scatter.pairs]
    if scatter.not_apart or any(share >= 1.0 - SHARE for share in shares):
        return EXIT_FAILS
    return EXIT_DONE if scatter.any_below <= SHARE else EXIT_NOT_PROVEN


def as_json(scatter: Scatter) -> dict[str, Any]:
    """Return the scatter of one axle as plain values."""
    return {
        "pairs": [_pair_json(pair) for pair in scatter.pairs],
        "any_below": scatter.any_below,
        "worst_pair": [{"pair": name, "share": share} for name, share in scatter.worst_pair],
        "not_apart": list(scatter.not_apart),
    }


def _pair_json(pair: PairScatter) -> dict[str, Any]:
    return {
        "first": pair.first,
        "second": pair.second,
        "mean_mm": pair.mean_mm,
        "standard_mm": pair.standard_mm,
        "linear_standard_mm": pair.linear_standard_mm,
        "interval_mm": {"lower": pair.low_mm, "upper": pair.high_mm},
        "below_required": pair.below_required,
        "places": [
            {"clock_deg": p.clock_deg, "r_mm": p.r_mm, "z_mm": p.z_mm, "share": p.share}
            for p in pair.places
        ],
    }


def as_text(scatter: Scatter) -> str:
    """Return the scatter of one axle for a terminal."""
    blocks = []
    if scatter.pairs:
        rows = [
            ("net gap", "mean mm", "s.d. mm", "budget's mm", "95 % from", "to mm", "below asked")
        ]
        rows += [
            (
                f"{one.first} – {one.second}", f"{one.mean_mm:.3f}", f"{one.standard_mm:.3f}",
                f"{one.linear_standard_mm:.3f}", f"{one.low_mm:.2f}", f"{one.high_mm:.2f}",
                f"{one.below_required:.2%}",
            )
            for one in scatter.pairs
        ]  # fmt: skip
        blocks.append(table(rows, right=(1, 2, 3, 4, 5, 6)))
        blocks += [_places(one) for one in scatter.pairs]
        blocks.append(f"in {scatter.any_below:.2%} of the trials some gap is below what is asked")
    else:
        blocks.append("no pair that is apart is near what is asked of it")
    blocks += [f"{name}: not apart, left out" for name in scatter.not_apart]
    return "\n\n".join(blocks)


def _places(pair: PairScatter) -> str:
    lines = [f"{pair.first} – {pair.second} is nearest"]
    lines += [
        f"  in {p.share:.0%} of the trials at clock {p.clock_deg:.0f}°, r {p.r_mm:.1f}, "
        f"z {p.z_mm:.1f} mm"
        for p in pair.places[:_PLACES]
    ]
    return "\n".join(lines)
