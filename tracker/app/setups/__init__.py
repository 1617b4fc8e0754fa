"""What the page Setups is made of."""
