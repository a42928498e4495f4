"""The answer of a choice for people: one screen, the recommendation first."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ..benchmarks.assumptions import LADDER, Assumption
from ..benchmarks.candidates import Candidate
from ..benchmarks.choice_record import parts, sentences, side_share, silent_bound, trade, unit_of
from ..benchmarks.statistics import at_least, clopper_pearson
from ..benchmarks.verdict import Choice, Finalist
from ..contracts.errors import in_one_line
from .table import console

_LONGEST = 400
_ORDER = ("first", "second", "third")


def print_choice(choice: Choice) -> None:
    """What is recommended, what else there is, why not the rest, and what it hangs on."""
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

    screen = console()

    def titled(title: str, rows: Sequence[tuple[str, str]]) -> None:
        if not rows:
            return
        if title:
            print()
            screen.print(Text(title, style="bold"))
        table = Table(box=None, pad_edge=False, show_header=False, padding=(0, 2, 0, 0))
        table.add_column(no_wrap=True)
        table.add_column(overflow="fold")
        for cells in rows:
            table.add_row(*(Text(in_one_line(cell, _LONGEST)) for cell in cells))
        with screen.capture() as drawn:
            screen.print(Padding(table, (0, 0, 0, 2)))
        print("\n".join(line.rstrip() for line in drawn.get().splitlines()))

    told = iter(sentences(choice))
    if choice.shown:
        next(told), next(told)
        screen.print(Text(f"Put on the tape: {choice.shown[0].candidate.short}", style="bold"))
        titled("", list(_figures(choice, choice.shown[0])))
        titled("Runners-up", list(_runners_up(choice)))
    else:
        next(told)  # said by the error that ends the command
    titled("Not chosen", [(one.family, one.words) for one in choice.rejected])
    runners_up = [finalist.candidate for finalist in choice.shown[1:]]
    rows = [row for one in choice.assumptions for row in _assumption(one, runners_up)]
    titled("One figure changed at a time", rows)
    print()
    for sentence in told:
        screen.print(Text(in_one_line(sentence, 1000)))
    screen.print(
        f"{choice.tried[0]:,} formats considered, {choice.tried[1]:,} raced, {choice.tapes:,} tapes played, "
        f"seed {choice.course.seed}."
    )


def _figures(choice: Choice, finalist: Finalist) -> Iterator[tuple[str, str]]:
    candidate, tally, limits = finalist.candidate, finalist.tally, choice.limits
    useful = len(choice.course.program) / candidate.tape_s
    yield "load time", f"{candidate.tape_s:.3g} s for {len(choice.course.program)} bytes, {useful:.3g} useful bytes/s"
    low, high = clopper_pearson(tally.right, tally.trials)
    least = at_least(tally.right, tally.trials, finalist.final.confidence)
    yield (
        "success",
        f"{tally.right} of {tally.trials} fresh tapes, {100 * low:.2f} to {100 * high:.2f} % (95 %); at least "
        f"{100 * least:.2f} % (one-sided, {100 * finalist.final.confidence:.4g} %)",
    )
    stated = candidate.codec.lies_at_most is not None
    why = "by its check" if stated else f"no check: {tally.silent} of {tally.trials} tapes, one-sided 95 %"
    yield "silent loss", f"at most {silent_bound(finalist):.1e} a load, {why}"
    yield "decoded by", parts(candidate, limits)
    share, side = side_share(candidate, limits)
    yield "tape", f"{100 * share:.2g} % of a side of a {side}"


def _runners_up(choice: Choice) -> Iterator[tuple[str, str]]:
    winner, *others = choice.shown
    for other in others:
        yield f"{other.candidate.tape_s:.3g} s", f"{other.candidate.short}: {trade(other, winner, choice.limits)}"


def _assumption(one: Assumption, runners_up: Sequence[Candidate]) -> Iterator[tuple[str, str]]:
    unit = unit_of(one)
    name = f"{one.figure.name} {one.figure.value:.3g}{unit}"
    lost = f"{one.tally.trials - one.tally.right} of {one.tally.trials} failed"
    if one.falls_at is not None:
        then = "no runner-up holds" if one.then is None else f"then the {_ORDER[runners_up.index(one.then)]} runner-up"
        yield name, f"falls at {one.falls_at:.3g}{unit} ({lost}); {then}"
    else:
        yield name, f"holds at {one.holds_to:.3g}{unit}, {LADDER[-1]:g} times as bad ({lost})"
    if one.quicker is not None:
        yield "", f"at {one.kinder:.3g}{unit} {one.quicker.short} may do, {one.quicker.tape_s:.3g} s"
