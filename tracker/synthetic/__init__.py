"""Seeded scenes with known truth: a field, a camera, flown balls, a sensor, and clips of them.

The way of a clip: `recipes` says what may vary, `draw` draws one session from a seed,
`plate` draws the field through the camera, `flight` flies the balls, `exposure` blurs each
onto the pixels, `sensor` adds noise, `clip` joins them frame by frame, and `session` writes
the folder with its truth beside it. No measuring room imports this one.
"""
