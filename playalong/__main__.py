"""python -m playalong: the same as the command playalong."""

import sys

from playalong.commands.main import main

sys.exit(main())
