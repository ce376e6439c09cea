"""What can be asked for on the command line?"""

import sys

__all__ = ["main"]


def main() -> None:
    """Run the command line; stopped by the keyboard while it loads, it leaves with one line.

    The commands load in here and not above, so that nothing but this file is read before the
    keyboard is heeded.
    """
    try:
        from vertebloc.cli import commands

        commands.main()
    except KeyboardInterrupt:
        sys.stderr.write(
            "vertebloc: stopped by the keyboard; a case holds its last complete state\n"
        )
        sys.exit(130)
