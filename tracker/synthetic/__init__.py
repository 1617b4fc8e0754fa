"""Seeded scenes with known truth: a field, a camera, flown balls, a sensor, and clips of them.

From a recipe to a clip: `recipes` says what may vary, `draw` draws one session from a seed,
`scene`, `plate` and `furniture` draw the field through the camera, `cast`, `movers` and `weather`
put on it what moves, `flight` flies the balls, `exposure` blurs each onto the pixels, `sensor`
adds noise, `clip` joins them frame by frame, `bound` computes how well each ball can be placed,
and `session` writes the folder with its `truth` beside it. No measuring room imports this one.
"""
