"""The launcher: motors, battery, wheels, and the passage of the ball between them."""
