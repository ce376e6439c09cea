"""What can be asked for on the command line?"""

from vertebloc.cli.commands import main

__all__ = ["main"]
