"""The command line: results to standard output, everything else to standard error.

Exit codes: 0 done; 2 the input is wrong; 3 the machine or the sheet cannot do it; 4 the
solver failed; 130 interrupted. Whatever is slow to load is loaded by the command that
needs it, so that help comes at once.
"""

# the commands stand in the help in the order of these imports
# isort: off
from pinchline.cli.common import app
from pinchline.cli import job, planning, pages, questions, fitting, studies, cards
from pinchline.cli import verify

# isort: on
__all__ = [
    "app",
    "cards",
    "fitting",
    "job",
    "pages",
    "planning",
    "questions",
    "studies",
    "verify",
]
