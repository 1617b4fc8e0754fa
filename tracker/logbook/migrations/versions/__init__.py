"""One file a step, the first makes the tables."""
