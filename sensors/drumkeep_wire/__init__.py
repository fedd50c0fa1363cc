"""What goes over the wire between a gateway and the service; msgspec and nothing else."""
