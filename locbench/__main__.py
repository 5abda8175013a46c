"""Lets ``python -m locbench`` do what the ``locbench`` command does."""

from locbench.cli.main import main

if __name__ == "__main__":
    main()
