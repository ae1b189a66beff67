"""``python -m catalogue``: the command line."""

from catalogue.commands import main

if __name__ == "__main__":
    main()
