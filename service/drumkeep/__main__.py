"""``python -m drumkeep`` is the ``drumkeep`` command."""

import sys

from drumkeep.cli.main import main

if __name__ == "__main__":
    sys.exit(main())
