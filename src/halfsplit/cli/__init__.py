"""The command `halfsplit`: parse arguments, call what does the work, print.

Data goes to standard output, messages to standard error. Exit status: 0; 1 where the answer is 'no' or the input is
bad; 2 for wrong usage.
"""

from halfsplit.cli import captures, circuit, drain, find, harness, learn, plan, practice, scan, workbench
from halfsplit.cli.app import app


def main() -> None:
    """The entry point of the installed command."""
    app(prog_name="halfsplit")
