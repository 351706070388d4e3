"""Pages of the registry room: drivers, places, types, labels."""
