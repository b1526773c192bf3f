"""The same things from a shell: ``sagglab new``, ``check``, ``measure``, ``study``, ``plan`` and the others.

Exit codes: 0 all went well; 1 faults stop the work, and all are printed; 2 the command was written wrongly.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

from sagglab.cli.parser import parser
from sagglab.errors import SagglabError


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    asked = parser().parse_args(arguments)
    try:
        return asked.run(asked)
    except SagglabError as error:
        print(error, file=sys.stderr)
    except BrokenPipeError:  # what was printed went into "head", say, which has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:  # a folder that cannot be made or written into, a disk that is full
        print(
            f"{error.filename or 'a file'}: {error.strerror or error}. Name another folder.", file=sys.stderr
        )
    except KeyboardInterrupt:
        print("stopped; nothing is left half written, and what was measured is kept", file=sys.stderr)
    return 1
