"""``python -m service`` is the command ``rillwright``."""

from service.cli import main

if __name__ == "__main__":
    main()
