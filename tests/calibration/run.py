"""Measure how honest refit and forecast are over synthetic boards, and write docs/calibration.md.

    python tests/calibration/run.py [--boards N] [--minutes M] [--out docs/calibration.md]

``--boards``: boards wanted in every cell (target, day). As many are followed as that takes. ``--minutes``: ask no more
boards after so long; the cells are smaller then, each by about the same share.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import pickle
import random
import sys
import tempfile
import time
from multiprocessing import get_context
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent.parent)]

import boards as synthetic  # noqa: E402
import numpy as np  # noqa: E402
import report  # noqa: E402
import scoring  # noqa: E402
import summary  # noqa: E402

SEED, BATCH, MOST_BATCHES, PROCESSES = 1, 50, 80, 2
TARGETS = tuple(scoring.TARGETS_PCT)


def true_course(number: int):
    """Return climate, daily means and quarter readings, and when each target was met, of one board."""
    board = synthetic.make(number, SEED)
    ready = scoring.truth_of(board).ready
    return number, board.climate, board.course.mean_pct, board.course.quarter_pct, [ready[name] for name in TARGETS]


def _key() -> str:
    made_of = b"".join((HERE / name).read_bytes() for name in ("truth.py", "boards.py", "scoring.py"))
    return hashlib.sha256(made_of + f"{SEED} {BATCH}".encode()).hexdigest()[:16]


def batch_of_truths(pool, index: int):
    """The true courses of one batch of boards, worked out once and kept in the system's temporary directory."""
    kept = Path(tempfile.gettempdir()) / f"calibration-truth-{os.getuid()}-{_key()}-{index}.npz"
    if not kept.exists():
        made = pool.map(true_course, range(index * BATCH, (index + 1) * BATCH), chunksize=5)
        names = ("number", "climate", "mean", "quarter", "ready")
        part = kept.with_suffix(f".{os.getpid()}.npz")
        np.savez(part, **{name: np.array(column) for name, column in zip(names, zip(*made, strict=True), strict=True)})
        part.replace(kept)
    with np.load(kept) as held:
        return list(zip(*(held[name] for name in ("number", "climate", "mean", "quarter", "ready")), strict=True))


def chosen(pool, wanted: int):
    """Take boards until every cell has as many as are wanted; return the tasks, and how many boards were looked at."""
    missing = {(target, day): wanted for target in TARGETS for day in scoring.DAYS}
    tasks, looked = [], 0
    for index in range(MOST_BATCHES):
        for number, climate, mean, quarter, dates in batch_of_truths(pool, index):
            looked, ready = looked + 1, dict(zip(TARGETS, dates, strict=True))
            open_cells = [
                (target, day)
                for target, day in missing
                if missing[target, day] > 0 and ready[target] > day and summary.truly_in_cell(climate, target)
            ]
            for one in open_cells:
                missing[one] -= 1
            days = tuple(sorted({day for _, day in open_cells}))
            between = bool(number < wanted // 2)  # of whom the days in between are asked too
            if days or between:
                tasks.append((int(number), SEED, (mean, quarter), days, between))
        if not any(missing.values()):
            break
        print(f"  {looked} boards followed, cells still short of {sum(missing.values())}", flush=True)
    random.Random(SEED).shuffle(tasks)
    return tasks, looked


def _score(task):
    return scoring.all_of(*task)


def main() -> None:
    """Follow, ask, score, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--boards", type=int, default=200)
    parser.add_argument("--out", type=Path, default=HERE.parent.parent / "docs" / "calibration.md")
    parser.add_argument("--minutes", type=float, default=float("inf"))
    parser.add_argument("--commit", help="what to say the product was, where this is no checkout of it")
    parser.add_argument("--keep", type=Path, help="a file for every single score, to look into")
    given = parser.parse_args()
    begun = time.monotonic()
    synthetic.make(0)  # compiles before the processes part
    with get_context("fork").Pool(PROCESSES) as pool:
        tasks, looked = chosen(pool, given.boards)
        followed_s = time.monotonic() - begun
        print(f"  {looked} boards followed in {followed_s:.0f} s; asking about {len(tasks)} of them", flush=True)
        every: list[scoring.Score] = []
        for done, some in enumerate(pool.imap_unordered(_score, tasks, chunksize=2), start=1):
            every += some
            if done % 20 == 0 or done == len(tasks):
                passed = time.monotonic() - begun - followed_s
                left = passed / done * (len(tasks) - done)
                print(f"  {done} of {len(tasks)} boards, {len(every)} scores, about {left:.0f} s left", flush=True)
            if time.monotonic() - begun > 60.0 * given.minutes:
                break
    every.sort(key=lambda one: (one.board, one.day, one.kind, one.target))
    if given.keep:
        given.keep.write_bytes(pickle.dumps([tuple(one) for one in every]))
    took_s = time.monotonic() - begun
    given.out.write_text(report.markdown(every, looked, done, took_s, given.commit))
    print(report.table(every))
    print(f"{given.out} written, {took_s:.0f} s, {np.unique([one.board for one in every]).size} boards scored")


if __name__ == "__main__":
    main()
