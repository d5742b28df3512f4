"""`python -m fieldaid`: the same as the command `fieldaid`."""

import sys

from fieldaid.cli import main

sys.exit(main())
