"""python -m compositor."""

from compositor.cli.app import main

main()
