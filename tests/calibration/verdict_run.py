"""Measure how honest the verdicts are over synthetic yards, and write docs/verdicts.md.

    python tests/calibration/verdict_run.py [--lots N] [--minutes M] [--out docs/verdicts.md]

``--lots``: lots asked about, one in three of plates. ``--minutes``: begin no more lots after so long. ``--first``: the
number of the first lot, to look at others than the page was written of; those below 1184 are what the line from shares
of members to stated chances was fitted on (``verdict_held``).
"""

from __future__ import annotations

import argparse
import os
import pickle
import sys
import time
from multiprocessing import get_context
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent.parent)]
for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import verdict_boards as synthetic  # noqa: E402
import verdict_report  # noqa: E402
import verdict_scoring as scoring  # noqa: E402

SEED, PROCESSES = 1, 1


def _scores(number: int):
    return scoring.lot_scores(synthetic.lot(number, SEED))


def main() -> None:
    """Make, ask, score, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--lots", type=int, default=240)
    parser.add_argument("--first", type=int, default=2000)
    parser.add_argument("--out", type=Path, default=HERE.parent.parent / "docs" / "verdicts.md")
    parser.add_argument("--minutes", type=float, default=float("inf"))
    parser.add_argument("--processes", type=int, default=PROCESSES)
    parser.add_argument("--commit", help="what to say the product was, where this is no checkout of it")
    parser.add_argument("--keep", type=Path, help="a file for every single score, to look into")
    given = parser.parse_args()
    begun = time.monotonic()
    scoring.lot_scores(synthetic.lot(given.first, SEED), [8])  # compiles before the processes part
    every = verdict_report.Every([], [], [])
    numbers = range(given.first, given.first + given.lots)
    with get_context("fork").Pool(given.processes) as pool:
        for done, (alone, sets, courses) in enumerate(pool.imap(_scores, numbers), start=1):
            every.alone.extend(alone)
            every.sets.extend(sets)
            every.courses.extend(courses)
            if done % 10 == 0:
                print(f"  {done} of {given.lots} lots, {len(every.alone)} verdicts", flush=True)
            if time.monotonic() - begun > 60.0 * given.minutes:
                break
    if given.keep:
        given.keep.write_bytes(pickle.dumps([[tuple(one) for one in kind] for kind in every]))
    took_s = time.monotonic() - begun
    given.out.write_text(verdict_report.markdown(every, took_s, given.commit))
    print(verdict_report.table(every))
    print(f"{given.out} written, {took_s:.0f} s, {done} lots")


if __name__ == "__main__":
    main()
