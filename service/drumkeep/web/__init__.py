"""The pages that people read, rendered on the server."""
