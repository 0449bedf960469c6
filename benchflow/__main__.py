"""Runs the command line: ``python -m benchflow``."""

from benchflow.cli import main

main()
