"""The session files that tests write: three markers of Fen Lane field and one clip."""

SESSION = """\
name = "Fen Lane"

[release]
height_m = 0.8

[camera]
position_m = [10.0, -30.0, 1.4]

[[marker]]
name = "10 m cone"
ground_m = [10.0, 0.0, 0.0]
pixel = [160.0, 104.0]

[[marker]]
name = "20 m cone"
ground_m = [20.0, 0.0, 0.0]
pixel = [260.0, 104.0]

[[marker]]
name = "gate post"
ground_m = [0.0, 4.0, 0.0]
pixel = [71.8, 102.4]

[[setup]]
name = "140 mm wheels"

[[clip]]
file = "clips/140mm.mp4"
setup = "140 mm wheels"
"""

_MORE = {
    "[release]\nheight_m = 0.8\n": """\
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
""",
    "-30.0, 1.4]\n": "-30.0, 1.4]\nfield_of_view_deg = 67.0\nlevel = true\n",
    '[[setup]]\nname = "140 mm wheels"\n': """\
[[setup]]
name = "140 mm wheels"

[setup.wheel]
diameter_mm = 140.0
mass_g = 210.0

[setup.motor]
supply_v = 12.0
no_load_rpm = 6000.0
rated_power_w = 60.0
""",
}


def _fuller(text: str) -> str:
    for plain, more in _MORE.items():
        assert text.count(plain) == 1
        text = text.replace(plain, more)
    return text


FULLER = _fuller(SESSION)
"""The same with a ball, air, a lens and a launcher, so that every command has what it asks for."""
