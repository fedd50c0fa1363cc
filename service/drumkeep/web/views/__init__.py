"""From what is stored to what pages show: one module per page."""
