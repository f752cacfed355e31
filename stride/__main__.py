"""``python -m stride``."""

from .cli import main

main()
