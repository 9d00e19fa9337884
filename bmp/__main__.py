"""`python -m bmp`."""

import sys

from bmp.cli import main

sys.exit(main())
