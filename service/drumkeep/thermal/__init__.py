"""The physics of liquid in a drum: SI units, numpy and nothing else."""
