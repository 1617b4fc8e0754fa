"""``python -m tracker.cli``: the command line where no console finds ``lobmeter``."""

from tracker.cli import main

main()
