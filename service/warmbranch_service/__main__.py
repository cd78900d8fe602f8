"""``python -m warmbranch_service``: the command line."""

import sys

from warmbranch_service.command.cli import main

sys.exit(main())
