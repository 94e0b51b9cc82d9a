"""``python -m spinproof``."""

from spinproof.cli.main import main

main()
