"""The command line as somebody at a terminal meets it."""

import os
import pty
import signal
import struct
import subprocess
import sys
import termios
from fcntl import ioctl
from pathlib import Path

from command_runs import environment, interruptible


def run_in_a_terminal(
    *arguments: str, columns: int, cwd: Path | None = None, interrupt_at: bytes | None = None, **more: str
) -> tuple[int, str]:
    """The exit code, and what a terminal of that width is sent, stdout and stderr together.

    With ``interrupt_at`` the run gets Ctrl-C as soon as it has sent that.
    """
    ours, theirs = pty.openpty()
    ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 40, columns, 0, 0))
    with subprocess.Popen(
        [sys.executable, "-m", "tapewright", *arguments],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        cwd=cwd,
        env=environment(**more),
        preexec_fn=interruptible,
    ) as running:
        os.close(theirs)
        sent = b""
        while True:
            try:
                more_sent = os.read(ours, 65_536)
            except OSError:  # how Linux says that nobody holds the other end any more
                break
            if not more_sent:
                break
            sent += more_sent
            if interrupt_at is not None and interrupt_at in sent:
                running.send_signal(signal.SIGINT)
                interrupt_at = None
        os.close(ours)
        code = running.wait(timeout=60)
    return code, sent.decode()
