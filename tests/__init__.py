"""Tests of every room.

They start the program anew by the hundred. Where Python was told to keep no compiled code (as in many
containers), each of those processes would compile the program first, half a second of it: here it is kept,
in the folders that git ignores.
"""

import os
import sys

sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
