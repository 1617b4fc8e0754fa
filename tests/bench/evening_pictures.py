"""Draw the pictures of docs/first-evening.md: ``python -m tests.bench.evening_pictures``.

The commands of the page, on the sample session whose clip the page takes for that of a phone.
"""

import shutil
import tempfile
from pathlib import Path

import cv2
import numpy as np

from tracker.results.cache import cache_folder
from tracker.workflow.calibrate import calibrate_session
from tracker.workflow.measure import MeasureOptions, measure_session
from tracker.workflow.overlay import overlay_sessions
from tracker.workflow.still import write_still

TOP = Path(__file__).resolve().parents[2]
SAMPLE = TOP / "sample_clips" / "wide"
WIDTH_PX, QUALITY = 920, 60
"""Width and JPEG quality of a picture on a page: some 100 kB."""


def drawn(folder: Path) -> dict[str, Path]:
    """Return the pictures that the commands make of a session, by their names on the page."""
    measure_session(folder, options=MeasureOptions(cache=cache_folder()))
    _, (calibrated,) = calibrate_session(folder)
    overlay_sessions([folder], films=False)
    stills, _ = write_still(folder / "clips" / "140mm.mp4")
    results = folder / "results"
    return {
        "evening-still.jpg": sorted(stills.iterdir())[-1],
        "evening-calibration.jpg": calibrated.picture,
        "evening-shot.jpg": results / "140mm-shot-1.jpg",
        "evening-flight.jpg": results / "140mm-shot-1-flight.jpg",
    }


def for_page(source: Path, target: Path) -> None:
    """Write a picture as small as a page needs it."""
    image = cv2.imdecode(np.frombuffer(source.read_bytes(), np.uint8), cv2.IMREAD_COLOR)
    assert image is not None
    height, width = image.shape[:2]
    size = (WIDTH_PX, round(height * WIDTH_PX / width))
    small = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    made, file = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    assert made
    target.write_bytes(file.tobytes())


def main() -> None:
    """Draw them all."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(shutil.copytree(SAMPLE, Path(place) / "evening"))
        for name, source in drawn(folder).items():
            for_page(source, TOP / "docs" / name)
            print(name, (TOP / "docs" / name).stat().st_size // 1000, "kB")


if __name__ == "__main__":
    main()
