"""A server for tests, in a process of its own: ``python -m tests.app.served HOME``.

It prints the link, then opens each folder whose path comes in on a line, and prints its number.
"""

import sys
import threading
from pathlib import Path

from tracker.app.server import serve
from tracker.app.workspace import Workspace


def main() -> None:
    """Serve until the input ends."""
    workspace = Workspace([], Path(sys.argv[1]))

    def announce(link: str) -> None:
        print(link, flush=True)
        threading.Thread(target=listen, daemon=True).start()

    def listen() -> None:
        for line in sys.stdin:
            print(workspace.open(Path(line.rstrip("\n"))).number, flush=True)

    serve(workspace, announce, browser=False)


if __name__ == "__main__":
    main()
