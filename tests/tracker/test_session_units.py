"""A value that is out of range, or stands with its unit, is answered in the unit of its field."""

from pathlib import Path

import pytest

from calibration.errors import InputError
from tracker.session import read_session

TEXT = """
[release]
height_m = 0.8

[air]
temperature_c = 18.0

[camera]
position_m = [20.0, -38.0, 1.4]

[planned]
shutter_s = 0.004

[[marker]]
name = "10 m cone"
ground_m = [10.0, 0.0, 0.0]
pixel = [487.6, 495.1]

[[setup]]
name = "140 mm wheels"

[setup.wheel]
diameter_mm = 140.0
mass_g = 210.0

[[clip]]
file = "a.mp4"
setup = "140 mm wheels"
"""

SLIPS = [
    ("height_m = 0.8", "height_m = 112", "100 metres; if it is in centimetres, write 1.12."),
    ("height_m = 0.8", 'height_m = "80 cm"', "write 0.8, without quotes."),
    ("height_m = 0.8", 'height_m = "2 ft 6 in"', "write 0.762, without quotes."),
    ("height_m = 0.8", "height_cm = 80", "is not a listed field; write height_m = 0.8."),
    ("height_m = 0.8", 'height_cm = "eighty"', "did you mean height_m? It is in metres. Listed"),
    ("height_m = 0.8", "height = 0.8", "did you mean height_m? It is in metres. Listed are"),
    ("temperature_c = 18.0", "temperature_c = 64", "to 60 °C; if it is in °F, write 17.78."),
    ("temperature_c = 18.0", "pressure_hpa = 30.1", "if it is in inches of mercury, write 1019."),
    ("temperature_c = 18.0", "pressure_hpa = 101.3", "if it is in kPa, write 1013."),
    ("[20.0,", "[9999.0,", "give -2000 to 2000 metres; if it is in centimetres, write 99.99."),
    ("shutter_s = 0.004", "shutter_s = 250", "seconds; for 1/250 s write 0.004."),
    ("diameter_mm = 140.0", "diameter_mm = 14", "millimetres; if it is in centimetres, write 140."),
    ("diameter_mm = 140.0", "diameter_mm = 0.14", "if it is in metres, write 140."),
    ("mass_g = 210.0", "mass_g = 0.21", "give 1 to 50000 grams; if it is in kilograms, write 210."),
    ("[487.6, 495.1]", "[487,6, 495,1]", "write [487.6, 495.1], with a point as the decimal mark."),
    ("[487.6, 495.1]", "[487.6 495.1]", "lacks its commas; write pixel = [487.6, 495.1]."),
    ("[camera]", "[kamera]", "did you mean [camera]? Listed are name, date, notes, [ball],"),
    ('setup = "140 mm wheels"', 'setup = "140mm wheels"', 'write "140 mm wheels".'),
]  # fmt: skip


@pytest.mark.parametrize(("before", "after", "said"), SLIPS, ids=[slip[1] for slip in SLIPS])
def test_one_slip_is_one_sentence_that_says_what_to_write(
    tmp_path: Path, before: str, after: str, said: str
) -> None:
    assert before in TEXT
    (tmp_path / "a.mp4").touch()
    (tmp_path / "session.toml").write_text(TEXT.replace(before, after), "utf-8")
    with pytest.raises(InputError) as caught:
        read_session(tmp_path)
    (sentence,) = caught.value.sentences()
    assert said in sentence
