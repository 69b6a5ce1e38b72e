"""`python -m finishing` is the command `finishing`."""

from finishing.cli.main import main

if __name__ == "__main__":
    main(prog_name="finishing")
