"""The pieces of the page before filming: the field from above, to be moved about."""
