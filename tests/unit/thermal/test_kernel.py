"""The compiled march starts where nothing that is compiled can be kept on disk."""

import json
import os
import subprocess
import sys

import numpy as np
import pytest

from drumkeep.thermal import kernel

PROGRAM = """
import json, sys
import numpy as np
from drumkeep.thermal import kernel
layers = np.array(json.loads(sys.argv[1]))
print(json.dumps([type(kernel._carry._cache).__name__, kernel.overturn_all(layers).tolist()]))
"""

NOWHERE = {"NUMBA_CACHE_LOCATOR_CLASSES": "ZipCacheLocator"}
"""Then the compiler looks for a place to keep things in zip archives only, and finds none."""


@pytest.mark.slow
def test_without_a_folder_to_write_it_is_compiled_anew_and_computes_the_same():
    layers = np.random.default_rng(3).uniform(5.0, 40.0, kernel.LAYERS)
    told = subprocess.run(
        [sys.executable, "-c", PROGRAM, json.dumps(layers.tolist())],
        env={**os.environ, **NOWHERE},
        capture_output=True,
        text=True,
        check=True,
    )

    kept, overturned = json.loads(told.stdout)

    assert kept == "NullCache"
    assert overturned == kernel.overturn_all(layers).tolist()
