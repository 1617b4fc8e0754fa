"""The ball in the air: ball, air, gravity, forces, trajectory and its events."""
