"""Start the command line with ``python -m gelwright.optimiser``."""

from .cli import main

main()
