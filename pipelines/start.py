"""Where `coldledger` begins: an interrupt is a sentence from the first moment, also while the commands are loaded."""

from __future__ import annotations

import sys


def main() -> None:
    """Load the commands, and run the one that was typed."""
    try:
        from pipelines.cli import main as run
    except KeyboardInterrupt:
        from pipelines import errors

        sys.stderr.write(errors.STOPPED)
        sys.exit(errors.INTERRUPTED)
    run()
