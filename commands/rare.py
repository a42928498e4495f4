"""``tapewright compare --rare``: how often a load fails where plain trials would hardly ever see it fail."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..contracts.errors import TargetNotMet, UsageError, in_one_line
from .table import console, print_table

if TYPE_CHECKING:
    from ..benchmarks.rare import RareFailures
    from ..benchmarks.study import Study


def compare_rare(asked: Study, tapes: int | None, workers: int | None, as_json: bool, aside: bool) -> None:
    """Print one row a task, or why it has no figure.

    Args:
        tapes: that count for each row; None is the default.
        aside: whether something was asked for that this does not do.

    Raises:
        UsageError: ``aside``.
        TargetNotMet: no row has a figure.
    """
    from ..benchmarks.rare import DEFAULT_TAPES, rare_failures
    from .progress import watching

    if aside:
        raise UsageError("compare: --rare plays on the threads of this machine, and draws no picture and no page.")
    with watching() as watch:
        rows = rare_failures(asked, DEFAULT_TAPES if tapes is None else tapes, workers, watch)
    if as_json:
        import json

        print(json.dumps([row.as_json() for row in rows], indent=2, allow_nan=False))
    else:
        show(rows)
    if all(row.load_failure is None for row in rows):
        raise TargetNotMet("compare: --rare has no figure for any row; each says why.")


def show(rows: tuple[RareFailures, ...]) -> None:
    """The table, and what each row proves or why it proves nothing."""
    from rich.table import Table
    from rich.text import Text

    several = len({row.task.receiver_name for row in rows}) > 1
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    for name in ("codec", *(["receiver"] if several else []), "channel"):
        table.add_column(name, overflow="fold")
    table.add_column("failed loads with\ndropouts, 95 %")
    for heading in ("within a\nfactor of", "effective\nfailures", "of these\nsilent", "failed /\ntapes drawn"):
        table.add_column(heading, justify="right")
    told = []
    for row in rows:
        codec, receiver, channel = (
            in_one_line(name, 60) for name in (row.task.codec_name, row.task.receiver_name, row.task.channel_name)
        )
        table.add_row(*map(Text, (codec, *([receiver] if several else []), channel, *_cells(row))))
        told.append(_sentence(row, f"{codec} by {receiver} over {channel}" if several else f"{codec} over {channel}"))
    screen = console()
    print_table(screen, table)
    print()
    for sentence in told:
        screen.print(in_one_line(sentence, 1000), soft_wrap=False)


def _cells(row: RareFailures) -> tuple[str, ...]:
    figure = row.load_failure
    if figure is None:
        return "refused", "", "", "", ""
    rate, low, high = (f"{share:.1e}" for share in (figure.rate, figure.low, figure.high))
    return (
        f"{rate} ({low} to {high})" if figure.rate else f"<= {high}",
        "-" if row.factor is None else f"{row.factor:.2f}",
        f"{row.effective_failures:.0f}",
        f"{100 * row.silent_rate / figure.rate:.3g} %" if row.silent and figure.rate else "none met",
        f"{row.failures} / {row.tapes - row.without_events[1]}",
    )


def _sentence(row: RareFailures, name: str) -> str:
    if row.load_failure is None:
        return f"No figure for {name}: {(row.refusal or '').rstrip('.')}."
    return (
        f"{name}: the figure counts loads that fail on a tape with dropouts. {_without(row)} What a mild dropout and "
        f"bad luck do more rarely than these tapes show, up to {row.unseen_at_most:.1e} of all loads (one-sided, 95 %),"
        " is in neither and in no interval."
    )


def _without(row: RareFailures) -> str:
    """What fails without dropouts, which the figure leaves out."""
    failed, quiet = row.without_events
    part = row.failure_without_events
    if part is None:
        return "No tape without dropouts was played."
    if failed:
        rate, low, high = (f"{100 * share:.2g} %" for share in (part.rate, part.low, part.high))
        share = f"{rate} of all loads ({low} to {high})"
    else:
        most = row.chance_without_events * (row.without_events_at_most or 0.0)
        share = f"up to {100 * most:.2g} % of all loads (one-sided, 95 %)"
    return f"Without dropouts {failed} of {quiet} tapes failed, which adds {share} and is not in it."
