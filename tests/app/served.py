"""A server for tests, in a process of its own: ``python -m tests.app.served HOME``.

A second socket of the loopback stands for the local network.
It prints the link. A line ``open FOLDER`` opens a session and prints its number, ``phone NUMBER``
lets a phone in to it and prints the phone's link.
"""

import os
import sys
import threading
from pathlib import Path

from tracker.app.doors import LOOPBACK, bound, doors
from tracker.app.server import serve
from tracker.app.workspace import Workspace


def main() -> None:
    """Serve until the input ends."""
    workspace = Workspace([], Path(sys.argv[1]), os.environ["LOBMETER_DB"])
    opened = doors()
    opened.sockets.append(bound(LOOPBACK, 0))

    def announce(link: str) -> None:
        print(link, flush=True)
        threading.Thread(target=listen, daemon=True).start()

    def listen() -> None:
        for line in sys.stdin:
            what, _, given = line.rstrip("\n").partition(" ")
            if what == "open":
                print(workspace.open(Path(given)).number, flush=True)
            else:
                opened.let_in(int(given))
                print(opened.phone_link("send"), flush=True)

    serve(workspace, opened, announce, browser=False)


if __name__ == "__main__":
    main()
