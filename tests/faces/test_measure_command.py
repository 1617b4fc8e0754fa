"""``lobmeter measure`` as a person sees it, the measuring itself aside."""

from pathlib import Path

from tests.faces.test_commands import clip as clip
from tests.faces.test_commands import run, session

__all__ = ["clip", "session"]


def test_an_engine_that_cannot_be_reached_changes_nothing(session: Path) -> None:
    before = {path.name: path.read_bytes() for path in (session / "results").iterdir()}
    code, shown, errors = run("measure", str(session), "--on", "nowhere://fen-lane:8786")
    assert (code, shown) == (2, "")
    assert errors.strip().startswith("--on: no Dask scheduler answers at nowhere://fen-lane:8786 (")
    assert "Traceback" not in errors
    assert {path.name: path.read_bytes() for path in (session / "results").iterdir()} == before
