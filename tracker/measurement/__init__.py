"""From one clip and what is known of it to measured shots."""
