"""`python -m rqa` is the same as the command `rqa`."""

from rqa.cli import main

if __name__ == "__main__":
    main(prog_name="rqa")
