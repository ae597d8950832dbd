"""The command `halfsplit`: parse arguments, call what does the work, print.

Data goes to standard output, messages to standard error. Exit status: 0; 1 where the answer is 'no' or the input is
bad; 2 for wrong usage.
"""

import os
import sys
import warnings

from halfsplit.cli import captures, circuit, drain, find, harness, learn, plan, practice, scan, workbench
from halfsplit.cli.app import app


def main() -> None:
    """The entry point of the installed command."""
    if (
        not sys.warnoptions
    ):  # a library's warnings are for whoever develops, here and in the processes that it starts
        warnings.simplefilter("ignore")
        os.environ["PYTHONWARNINGS"] = "ignore"
    app(prog_name="halfsplit")
