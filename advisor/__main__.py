"""``python -m advisor`` is the command line."""

from __future__ import annotations

import sys

from advisor.cli import main

sys.exit(main())
