"""Pseudo-terminals for the far ends: raw lines, and a copy between two of them.

Never: a network port. A far end ends when its standard input closes.
"""

import os
import pty
import sys
import threading
import tty


def raw_line():
    """A raw pseudo-terminal: descriptor of the far side, descriptor and name of the near side."""
    far, near = pty.openpty()
    tty.setraw(near)
    return far, near, os.ttyname(near)


def copy(source, target):
    """Copies bytes from one descriptor to another until either is gone."""

    def work():
        try:
            while data := os.read(source, 256):
                os.write(target, data)
        except OSError:
            pass

    threading.Thread(target=work, daemon=True).start()


def announce(name):
    """Says where the line is, and ends the process when standard input closes."""
    print(name, flush=True)

    def watch():
        sys.stdin.buffer.read()
        os._exit(0)

    threading.Thread(target=watch, daemon=True).start()
