"""Markers found by themselves on drawn first frames: ``python -m tests.bench.markers_found``.

Two markers of each session keep their picks, the others are searched for; each place found is held
against the true one by its own standard uncertainty.
"""

import argparse
import re
import tempfile
from pathlib import Path

import numpy as np

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


def held_against_truth(kind: str, seed: int) -> tuple[list[float], int, int]:
    """Return z of every coordinate found and not doubted, how many were wanted, and doubted."""
    recipe = without_shots(RECIPES[kind], FILM_S)
    drawn = draw_session(recipe, seed)
    take = drawn.clips[0].take
    ground = np.array([marker.ground_m for marker in drawn.markers])
    true = dict(
        zip(
            [marker.name for marker in drawn.markers],
            take.camera_at(0).still_pixels(ground, take.sensor),
            strict=True,
        )
    )
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
    wanted = [marker.name for marker in drawn.markers][PICKS:]
    z: list[float] = []
    doubted = 0
    for proposal in clips[0].proposals:
        if proposal.name not in wanted:
            continue
        if proposal.doubt:
            doubted += 1
            continue
        off = np.asarray(proposal.pixel) - true[proposal.name]
        z.extend((off / proposal.pixel_u).tolist())
    return z, len(wanted), doubted


def main() -> None:
    """Draw, search and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=12)
    parser.add_argument("--first", type=int, default=7100, help="first seed")
    options = parser.parse_args()
    every: list[float] = []
    wanted = doubted = 0
    for seed in range(options.first, options.first + options.seeds):
        kind = KINDS[seed % len(KINDS)]
        z, count, unsure = held_against_truth(kind, seed)
        every, wanted, doubted = every + z, wanted + count, doubted + unsure
        print(f"{kind:12} {seed} {len(z) // 2} of {count} found, {unsure} doubted", flush=True)
    sizes = np.abs(every)
    print(
        f"{len(every) // 2} of {wanted} found, {doubted} doubted: z RMS "
        f"{np.sqrt(np.mean(sizes**2)):.2f}, largest {sizes.max():.1f}"
    )


if __name__ == "__main__":
    main()
