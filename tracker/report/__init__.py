"""Tables and pictures from finished facts; it computes no result."""
