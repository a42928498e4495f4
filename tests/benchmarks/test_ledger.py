"""The ledger: what was played is written once, whenever somebody interrupts."""

from pathlib import Path

import pytest
from tapewright.benchmarks.carried_files import digest
from tapewright.benchmarks.ledger import Ledger
from tapewright.benchmarks.new_store import create
from tapewright.benchmarks.store import Store
from tapewright.benchmarks.study import Study
from tapewright.benchmarks.tally import Tally
from tapewright.benchmarks.trials import Played, tapes


def test_an_interruption_just_after_writing_writes_nothing_twice(tmp_path: Path, monkeypatch) -> None:
    asked = Study(b"bell", "bell", ("plain-clocked",), ("sound",), ("new",), trials=3)
    (task,) = asked.tasks()
    create(tmp_path / "bells.study")
    with Store(tmp_path / "bells.study", writing=True) as store:
        store.keep([b"task"])
        ledger = Ledger(store, {task: digest(b"task")}, {})
        add = store.add

        def interrupted(*told) -> None:
            add(*told)
            raise KeyboardInterrupt

        monkeypatch.setattr(store, "add", interrupted)
        for tape in tapes(asked):
            ledger.note(Played(tape, (Tally(1, 1),), 0.1))
        with pytest.raises(KeyboardInterrupt):
            ledger.close()
        monkeypatch.undo()
        ledger.close()
        assert sum((batch.tally for batch in store.batches()), Tally()) == Tally(3, 3)
