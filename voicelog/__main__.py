"""Where the program begins: it answers for Ctrl-C before the commands are even read."""

import sys

from voicelog import STOPPED


def main() -> None:
    """The console command. Ctrl-C while the program is still loading leaves a line and no traceback."""
    try:
        from voicelog import cli

        cli.main()
    except KeyboardInterrupt:
        sys.stderr.write("voicelog: stopped.\n")
        sys.exit(STOPPED)


if __name__ == "__main__":
    main()
