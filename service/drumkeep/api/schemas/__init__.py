"""Bodies and answers of the API, one module per noun."""
