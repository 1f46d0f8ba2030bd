"""What ``python -m survivor`` does: the command line."""

from survivor.cli import main

main()
