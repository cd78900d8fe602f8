"""``python -m warmbranch_service``: the command line."""

import sys

from warmbranch_service.cli import main

sys.exit(main())
