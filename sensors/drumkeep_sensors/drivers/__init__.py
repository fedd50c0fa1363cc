"""How each kind of sensor is read: one module per kind, all of the shape of ``driver.Driver``."""
