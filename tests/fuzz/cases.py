"""What is spoilt, and which command then reads it."""

import json
import random
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.fen_lane import FULLER
from tests.fuzz.spoiling import spoilt_bytes, spoilt_text

PLAIN = (180, 320, 3)


@dataclass(frozen=True)
class Case:
    """A spoilt input.

    Attributes
    ----------
    kind : str
        "text", "results" or "video".
    number : int
        With the seed it decides everything.
    """

    kind: str
    number: int
    seed: int

    def generator(self) -> random.Random:
        """Return the generator that decides what is spoilt and how."""
        return random.Random(f"{self.kind} {self.seed} {self.number}")

    def made(self, folder: Path) -> list[str]:
        """Spoil what `prepared` put into a folder, and return the command's words."""
        rng = self.generator()
        if self.kind == "text":
            _spoil(folder / "session.toml", rng)
            return [rng.choice(["check", "check", "predict", "plan", "compare"]), str(folder)]
        if self.kind == "results":
            names = ["shots.csv", "shots.json", "shots.csv"]
            _spoil(folder / "results" / rng.choice(names), rng)
            return [rng.choice(["compare", "plan", "predict", "measure"]), str(folder)]
        clip = folder / "clips" / "140mm.mp4"
        clip.write_bytes(spoilt_bytes(clip.read_bytes(), rng))
        return [rng.choice(["check", "measure"]), str(folder)]


def prepared(folder: Path) -> None:
    """Write a session with a small clip and results into a new folder."""
    from tests.tracker.invented_outings import shots_of
    from tracker.results.tables import shots_csv
    from tracker.video import ClipWriter

    (folder / "clips").mkdir(parents=True)
    (folder / "session.toml").write_text(FULLER, encoding="utf-8")
    rng = np.random.default_rng(1)
    with ClipWriter(folder / "clips" / "140mm.mp4", (320, 180), 60) as writer:
        for number in range(24):
            frame = rng.integers(110, 130, PLAIN, dtype=np.uint8)
            frame[60:64, 20 + 9 * number : 24 + 9 * number] = 230
            writer.write_bgr(frame)
    results = folder / "results"
    results.mkdir()
    rows = shots_of("140 mm wheels", 5)
    (results / "shots.csv").write_text(shots_csv(rows), encoding="utf-8")
    results_json = {
        "version": "0.1.0",
        "inputs": [{"file": "session.toml", "sha256": "0" * 64}],
        "pictures": ["140mm-shot-1.jpg"],
        "shots": [
            {"clip": row.clip, "shot": row.shot, "shared_u": {"carry_m": 0.1}} for row in rows
        ],
    }
    (results / "shots.json").write_text(json.dumps(results_json, indent=1), encoding="utf-8")
    (folder / "notes.txt").write_text("wind from the left\n", encoding="utf-8")


def _spoil(path: Path, rng: random.Random) -> None:
    """Spoil a text, as text or, now and then, as the bytes that it is."""
    if rng.random() < 0.1:
        path.write_bytes(spoilt_bytes(path.read_bytes(), rng))
    else:
        text = spoilt_text(path.read_text(encoding="utf-8"), rng)
        path.write_text(text, encoding="utf-8", errors="surrogatepass", newline="")
