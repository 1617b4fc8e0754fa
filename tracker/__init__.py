"""From a filmed session to measured shots."""
