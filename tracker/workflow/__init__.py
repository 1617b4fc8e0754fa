"""The steps of whole jobs in order: one call for whoever shows them."""
