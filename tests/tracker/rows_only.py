"""A session with rows that no measurement made: for what comes after one, without a clip."""

import shutil
from dataclasses import replace
from pathlib import Path

from tests.tracker.invented_outings import shots_of
from tracker.results.folder import replace_results
from tracker.results.tables import shots_csv
from tracker.session import read_session

SAMPLE = Path(__file__).parents[2] / "sample_clips" / "close"


def with_rows(folder: Path, count: int = 1) -> None:
    """Put the sample's session into a folder, and shots ten seconds apart into its results."""
    shutil.copy(SAMPLE / "session.toml", folder)
    clip = read_session(folder, filmed=False).clips[0]
    rows = [
        replace(row, clip=clip.file, setup=clip.setup, release_s=10.0 * row.shot)
        for row in shots_of("140 mm wheels", count)
    ]
    replace_results(folder / "results", {"shots.csv": shots_csv(rows).encode("utf-8")})
