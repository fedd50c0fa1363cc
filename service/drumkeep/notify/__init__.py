"""What leaves the service to tell somebody."""
