"""`python -m wanwatch` is the command `wanwatch`."""

from wanwatch.cli import main

if __name__ == "__main__":
    main()
