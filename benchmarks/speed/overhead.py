"""What it costs to hand a tape to a cluster: ``python -m tapewright.benchmarks.speed.overhead tcp://HOST:PORT``

Plays tapes that cost next to nothing, one an order, and as many an order as fit in two seconds of work, and prints how
long an order takes beside the work in it. A cluster hands out at most one order every so long, however many workers it
has: that bounds how many machines one study can keep busy.
"""

from __future__ import annotations

import sys
from contextlib import closing
from time import perf_counter

from ..cluster import ORDER_S, Dask
from ..study import Study
from ..trials import tapes

CODEC = "biphase:leader_s=0.1"
CHANNEL = "wire"
TAPES = 2000


def handed_over_s(scheduler: str, order_s: float) -> tuple[float, float]:
    """Seconds of wall clock a tape, and of work in it."""
    study = Study(b"n", "one letter", (CODEC,), ("sound",), (CHANNEL,), TAPES)
    with closing(Dask(scheduler, order_s)) as cluster:
        list(cluster.play(study, list(tapes(study))[:50]))
        begun = perf_counter()
        played = list(cluster.play(study, tapes(study)))
        return (perf_counter() - begun) / TAPES, sum(one.busy_s for one in played) / TAPES


def main() -> None:
    """Print the figures."""
    if len(sys.argv) != 2:
        raise SystemExit("one argument is needed: the address of a scheduler, such as tcp://127.0.0.1:8786")
    (_, scheduler) = sys.argv
    with closing(Dask(scheduler)) as cluster:
        workers = cluster.workers
    wall_s, busy_s = handed_over_s(scheduler, 0.0)
    print(f"{TAPES} orders of one tape to {workers} workers:")
    print(f"  {1e3 * wall_s:.2f} ms each, with {1e3 * busy_s:.2f} ms of work in it;")
    print(
        f"  at most {1 / wall_s:.0f} orders a second: of {ORDER_S:g} s each, {ORDER_S / wall_s:.0f} threads are busy."
    )
    wall_s, busy_s = handed_over_s(scheduler, ORDER_S)
    print(f"The same tapes in orders of up to {ORDER_S:g} s:")
    print(f"  {1e3 * wall_s:.2f} ms a tape, with {1e3 * busy_s:.2f} ms of work in it.")


if __name__ == "__main__":
    main()
