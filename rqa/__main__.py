"""The command `rqa`, which `python -m rqa` is, too: signals stop it from the first moment on."""

import sys

from rqa.stopping import Stopped, stoppable


def run() -> None:
    """Run the command line, and end as a program that a signal has stopped where one has."""
    with stoppable() as stopping:
        try:
            from rqa.cli import main

            main(prog_name="rqa")
        except Stopped:
            sys.stderr.write("rqa: stopped; nothing was changed.\n")
            sys.exit(stopping.exit_code)


if __name__ == "__main__":
    run()
