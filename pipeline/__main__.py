"""`python -m pipeline` is the command `rmt-outcomes`."""

from pipeline.cli import main

main()
