"""Lets `python -m configurator` do what the command `tipin` does."""

from configurator.cli import main

if __name__ == "__main__":
    main()
