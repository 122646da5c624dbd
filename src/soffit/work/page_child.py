"""The process in which the page's long work runs: a question on its input, events on its output."""

import json
import os
import sys
from typing import Any


def main() -> None:
    """Read one question, do the work, write one event a line."""
    from soffit.work.page_jobs import run

    out = os.fdopen(os.dup(sys.stdout.fileno()), "w", encoding="utf-8")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # libraries that print cannot garble events

    def tell(event: dict[str, Any]) -> None:
        out.write(json.dumps(event, ensure_ascii=False) + "\n")
        out.flush()

    run(json.loads(sys.stdin.buffer.read()), tell)
    out.close()


if __name__ == "__main__":
    main()
