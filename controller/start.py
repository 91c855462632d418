"""How the command `gapwright` starts: `watch` without everything else, since somebody waits to see his machine."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line."""
    if sys.argv[1:2] == ["watch"]:
        from controller.commands_watch import alone  # noqa: PLC0415 (loads nothing of the other commands)

        alone()
    else:
        from controller.cli import main as all_commands  # noqa: PLC0415 (loads everything)

        all_commands()


if __name__ == "__main__":
    main()
