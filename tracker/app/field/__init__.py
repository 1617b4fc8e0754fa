"""The pieces of the field's page: the picture to mark, and the list of markers."""
