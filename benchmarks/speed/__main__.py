"""``python -m tapewright.benchmarks.speed``: how fast, against whom, and whether that is what was aimed at."""

from __future__ import annotations

import argparse
import json
import os
import sys

# One core is one core: threads of the matrix library and of compiled loops would lend the rival a second one, and their
# waiting for more work would be counted as ours. They read this when they are loaded, which is below.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("NUMBA_NUM_THREADS", "1")

from .report import as_json, surroundings, table
from .suite import FULL, QUICK, parts, rows


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="python -m tapewright.benchmarks.speed", description=__doc__)
    parser.add_argument("--quick", action="store_true", help="less of everything: under 40 s, and rougher")
    parser.add_argument("--json", action="store_true", help="print records instead of the table")
    parser.add_argument("--only", action="append", default=[], choices=list(parts(QUICK)), help="one part; repeat")
    asked = parser.parse_args()
    before = surroundings()
    found = []
    for row in rows(QUICK if asked.quick else FULL, tuple(asked.only)):
        found.append(row)
        if sys.stderr.isatty():
            print(f"{row.work}: {'not measured' if row.ratio is None else f'{row.ratio:.3g}'}", file=sys.stderr)
    after = surroundings()
    if asked.json:
        print(json.dumps(as_json(found, before, after), indent=2))
        return
    print(table(found))
    told = ", ".join(f"{name} {before[name]}" for name in before if not name.startswith("load"))
    print(f"\n{told}; load before {before['load_1_5_15_minutes']}, after {after['load_1_5_15_minutes']}.")
    print(
        "Ratios of processor times, rival over ours, paired round by round, on one thread of the matrix library; cold "
        "starts, the first build and cores by the wall's clock."
    )


if __name__ == "__main__":
    main()
