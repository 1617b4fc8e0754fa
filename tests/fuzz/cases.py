"""What is spoilt, and which command then reads it."""

import json
import random
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.fuzz.spoiling import spoilt_bytes, spoilt_text

SESSION = """\
name = "Fen Lane"

[ball]
type = "tennis"

[air]
temperature_c = 15.0
pressure_hpa = 1013.0
wind_along_mps = 1.0
wind_u_mps = 0.5

[release]
height_m = 0.8
angle_deg = 42.0

[camera]
position_m = [10.0, -30.0, 1.4]
field_of_view_deg = 67.0
level = true

[[marker]]
name = "10 m cone"
ground_m = [10.0, 0.0, 0.0]
pixel = [160.0, 120.0]

[[marker]]
name = "20 m cone"
ground_m = [20.0, 0.0, 0.0]
pixel = [260.0, 120.0]

[[marker]]
name = "gate post"
ground_m = [0.0, 4.0, 0.0]
pixel = [60.0, 118.0]

[[setup]]
name = "140 mm wheels"

[setup.wheel]
diameter_mm = 140.0
mass_g = 210.0

[setup.motor]
supply_v = 12.0
no_load_rpm = 6000.0
rated_power_w = 60.0

[[clip]]
file = "clips/140mm.mp4"
setup = "140 mm wheels"
"""

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
    (folder / "session.toml").write_text(SESSION, encoding="utf-8")
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
    told = {
        "version": "0.1.0",
        "inputs": [{"file": "session.toml", "sha256": "0" * 64}],
        "pictures": ["140mm-shot-1.jpg"],
        "shots": [
            {"clip": row.clip, "shot": row.shot, "shared_u": {"carry_m": 0.1}} for row in rows
        ],
    }
    (results / "shots.json").write_text(json.dumps(told, indent=1), encoding="utf-8")
    (folder / "notes.txt").write_text("wind from the left\n", encoding="utf-8")


def _spoil(path: Path, rng: random.Random) -> None:
    """Spoil a text, as text or, now and then, as the bytes that it is."""
    if rng.random() < 0.1:
        path.write_bytes(spoilt_bytes(path.read_bytes(), rng))
    else:
        text = spoilt_text(path.read_text(encoding="utf-8"), rng)
        path.write_text(text, encoding="utf-8", errors="surrogatepass", newline="")
