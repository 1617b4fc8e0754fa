"""The film of `lobmeter overlay` plays in a real browser."""

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page

from tracker.video import inspect
from tracker.workflow.overlay import overlay_sessions

PLAYED = """async (address) => {
  const film = document.createElement('video');
  film.muted = true;
  film.src = address;
  document.body.append(film);
  const once = (name) => new Promise((done, failed) => {
    film.addEventListener(name, done, { once: true });
    film.addEventListener('error', () => failed(new Error(film.error.message)), { once: true });
  });
  await once('loadeddata');
  const pen = document.createElement('canvas').getContext('2d', { willReadFrequently: true });
  pen.canvas.width = film.videoWidth;
  pen.canvas.height = film.videoHeight;
  const warm = async (time) => {
    const shown = new Promise((done) => film.requestVideoFrameCallback(done));
    film.currentTime = time;
    await once('seeked');
    // A busy machine says so before the new frame can be drawn.
    await Promise.race([shown, new Promise((done) => setTimeout(done, 5000))]);
    pen.drawImage(film, 0, 0);
    const { data } = pen.getImageData(0, 0, film.videoWidth, film.videoHeight);
    let count = 0;
    for (let at = 0; at < data.length; at += 4) {
      if (data[at] > 180 && data[at] - data[at + 2] > 90) count += 1;
    }
    return count;
  };
  const drawn = [];
  for (const share of [0.02, 0.6, 0.98]) drawn.push(await warm(share * film.duration));
  film.currentTime = 0;
  await once('seeked');
  await film.play();
  await new Promise((done) => setTimeout(done, 600));
  const played = film.currentTime;
  film.remove();
  return {
    duration: film.duration, size: [film.videoWidth, film.videoHeight], played, drawn,
    known: document.createElement('video').canPlayType('video/mp4; codecs="avc1.640028"'),
  };
}"""
"""Plays a film and counts the pixels of the flight's warm colour early, in flight, and late."""


@pytest.mark.campaign
def test_the_film_of_a_shot_plays_with_the_flight_growing_in_it(
    visit: Callable[[Path, str], Page], measured: Path
) -> None:
    (made,) = overlay_sessions([measured], 1.0, True, None)
    assert made.film is not None
    page = visit(measured, "measure")
    address = page.url.rsplit("/", 1)[0] + f"/result/{made.film.name}"
    seen = page.evaluate(PLAYED, address)
    facts = inspect(made.film)
    assert seen["known"] == "probably"
    assert tuple(seen["size"]) == facts.size_px
    assert abs(seen["duration"] - facts.duration_s) < 0.1
    assert seen["played"] > 0.2
    early, flying, late = seen["drawn"]
    assert early < flying < late, seen["drawn"]
