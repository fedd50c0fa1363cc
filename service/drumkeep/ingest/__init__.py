"""From the broker to stored readings."""
