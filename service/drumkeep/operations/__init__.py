"""One function for each thing that a person or a machine asks for."""
