"""Run the command line with ``python -m loomproof``."""

from loomproof.cli.main import main

main()
