"""python -m roadrisk."""

from roadrisk.cli import main

main()
