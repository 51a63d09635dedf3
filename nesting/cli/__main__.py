"""``python -m nesting.cli.app``."""

from nesting.cli.app import main

main()
