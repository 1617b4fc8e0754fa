"""Markers found by themselves on drawn first frames: ``python -m tests.bench.markers_found``.

Two markers of each session keep their picks, the others are searched for; each place found is held
against the true one by its own standard uncertainty. Printed by kind of scene: markers asked for,
found without a doubt, wrong among these, found with a doubt, and the RMS of z along columns, along
rows and of both.
"""

import argparse
import re
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.bench.scoring import rms
from tracker.synthetic.draw import draw_session
from tracker.synthetic.recipes import RECIPES, without_shots
from tracker.synthetic.session import make_session
from tracker.workflow.markers import mark_session

KINDS = ("wide", "far", "grain", "wide_30", "people", "long_grass")
"""Recipes that are drawn in turn."""

PICKS = 2
"""Markers whose picks are kept: the first ones."""

FILM_S = 0.1
"""Length of the clips, s: only the first frame is looked at."""

WRONG_Z = 5.0
"""Standard uncertainties from which a place is another thing's than the marker's."""


@dataclass(frozen=True)
class Held:
    """What came of one marker that was searched for: its place less the true one, px, and its u."""

    kind: str
    off_px: tuple[float, float] | None = None
    u_px: float = 1.0
    doubt: str = ""

    @property
    def z(self) -> tuple[float, float] | None:
        """By column and row; None where no place without a doubt was found."""
        if self.off_px is None or self.doubt:
            return None
        return self.off_px[0] / self.u_px, self.off_px[1] / self.u_px


def held_against_truth(kind: str, seed: int) -> list[Held]:
    """Return what came of each marker of a drawn session that was searched for."""
    recipe = without_shots(RECIPES[kind], FILM_S)
    drawn = draw_session(recipe, seed)
    take = drawn.clips[0].take
    ground = np.array([marker.ground_m for marker in drawn.markers])
    names = [marker.name for marker in drawn.markers]
    pixels = take.camera_at(0).still_pixels(ground, take.sensor)
    with tempfile.TemporaryDirectory() as folder:
        make_session(Path(folder), recipe, seed)
        page = Path(folder) / "session.toml"
        text = page.read_text(encoding="utf-8")
        heads = [found.end() for found in re.finditer(r"\npixel(_u)? = [^\n]*", text)]
        kept = heads[2 * PICKS - 1]
        page.write_text(
            text[:kept] + re.sub(r"\npixel(_u)? = [^\n]*", "", text[kept:]), encoding="utf-8"
        )
        _, clips = mark_session(Path(folder))
    proposals = {proposal.name: proposal for proposal in clips[0].proposals}
    held = []
    for name, pixel in list(zip(names, pixels, strict=True))[PICKS:]:
        found = proposals.get(name)
        if found is None:
            held.append(Held(kind))
            continue
        column, row = (np.asarray(found.pixel) - pixel).tolist()
        held.append(Held(kind, (column, row), found.pixel_u, found.doubt))
    return held


def line(name: str, held: list[Held]) -> str:
    """Return a line of the table."""
    z = np.array([one.z for one in held if one.z is not None]).reshape(-1, 2)
    wrong = int(np.sum(np.any(np.abs(z) > WRONG_Z, axis=1)))
    doubted = sum(bool(one.doubt) for one in held)
    shares = "  ".join(f"{rms(part.tolist()):5.2f}" for part in (z[:, 0], z[:, 1], z.ravel()))
    means = "  ".join(f"{value:+5.2f}" for value in z.mean(axis=0)) if len(z) else ""
    return f"{name:12} {len(held):5d} {len(z):6d} {wrong:6d} {doubted:8d}   {shares}  {means}"


def main() -> None:
    """Draw, search and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=12)
    parser.add_argument("--first", type=int, default=7100, help="first seed")
    options = parser.parse_args()
    every: list[Held] = []
    for seed in range(options.first, options.first + options.seeds):
        kind = KINDS[seed % len(KINDS)]
        held = held_against_truth(kind, seed)
        every += held
        for one in held:
            if one.z is None or max(map(abs, one.z)) > WRONG_Z:
                print(f"    {kind}, seed {seed}: {one}", flush=True)
    print("kind         asked  found  wrong  doubted   z RMS: column, row, both  mean z")
    for kind in KINDS:
        own = [one for one in every if one.kind == kind]
        if own:
            print(line(kind, own))
    print(line("all", every))


if __name__ == "__main__":
    main()
