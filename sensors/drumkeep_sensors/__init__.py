"""What runs on a gateway: reads sensors, keeps what it read, and sends it on."""
