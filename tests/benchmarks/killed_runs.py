"""Kill runs of a stored study with SIGKILL, again and again, and say what happened: python killed_runs.py S.toml KILLS

Each run is a child that this process, with everything imported, forks off, so that most of its life is work. It dies at
a random moment of that life; after the last kill one more run may end. Prints a line of JSON.
"""

import json
import os
import random
import signal
import sys
import time
from pathlib import Path

from tapewright.benchmarks import ledger
from tapewright.benchmarks.new_store import create
from tapewright.benchmarks.store import Store
from tapewright.benchmarks.stored_study import answer, run
from tapewright.benchmarks.study_file import read_study_file
from tapewright.benchmarks.trials import Threads

LONGEST_LIFE_S = 0.25
WRITTEN_EVERY_S = 0.02
"""So that lives as short as these hold several writes."""


def main(study: Path, kills: int) -> None:
    asked, store, luck = read_study_file(study), study.with_suffix(".study"), random.Random(kills)
    killed, held, ended = 0, [], False
    ledger.WRITTEN_EVERY_S = WRITTEN_EVERY_S
    while killed < kills and not ended:
        child = os.fork()
        if child == 0:
            if not store.exists():
                create(store)
            with Store(store, writing=True) as open_store:
                run(open_store, asked, Threads(2))
            os._exit(0)
        time.sleep(luck.uniform(0, LONGEST_LIFE_S))
        os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        ended = os.WIFEXITED(status)
        killed += not ended
        held.append(sum(row.tally.trials for row in answer(store)) if store.exists() else 0)
    with Store(store, writing=True) as open_store:
        run(open_store, asked, Threads(2))
    print(json.dumps({"killed": killed, "held": held, "rows": [row.as_json() for row in answer(store)]}))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
