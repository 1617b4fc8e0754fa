"""Write a synthetic session: ``python -m tracker.synthetic FOLDER --recipe wide --seed 3``."""

import argparse
from dataclasses import replace
from pathlib import Path

import cv2

from tracker.synthetic.recipes import RECIPES, without_shots
from tracker.synthetic.session import make_session


def main() -> None:
    """Read the arguments and make the session."""
    parser = argparse.ArgumentParser(
        prog="python -m tracker.synthetic",
        description="Draw a session with known truth: clips, session.toml and truth.json.",
    )
    parser.add_argument("folder", type=Path, help="where to write it")
    parser.add_argument("--recipe", choices=sorted(RECIPES), default="wide")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--megabits", type=float, help="megabits a second of playing time")
    parser.add_argument("--without-shots", action="store_true", help="nobody fires")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    recipe = RECIPES[given.recipe]
    if given.without_shots:
        recipe = without_shots(recipe)
    if given.megabits is not None:
        # A smaller file is worth more of the encoder's time.
        filming = replace(recipe.filming, megabits=given.megabits, preset="veryfast")
        recipe = replace(recipe, filming=filming)
    truth = make_session(given.folder, recipe, given.seed)
    for clip in truth["clips"]:
        print(f"{clip['file']}: {clip['frames']} frames, {len(clip['shots'])} shots")
        for number, shot in enumerate(clip["shots"], 1):
            print(
                f"  {number}: {shot['exit_speed_mps']:.2f} m/s at {shot['launch_angle_deg']:.1f}°, "
                f"carry {shot['carry_m']:.2f} m, {shot['frames_visible']} frames"
            )


if __name__ == "__main__":
    main()
