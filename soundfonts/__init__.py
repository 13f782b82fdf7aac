"""Banks of sound: finding them and checking them."""
