"""`python -m litlamp`."""

from litlamp.cli import main

if __name__ == "__main__":
    main()
