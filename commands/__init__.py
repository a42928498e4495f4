"""Floor 4: the Typer command line, one command a file, no logic of its own."""


def main() -> None:
    raise SystemExit(2)
