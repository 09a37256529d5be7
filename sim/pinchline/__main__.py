"""Entry of the command ``pinchline`` and of ``python -m pinchline``."""

import sys


def main() -> None:
    """Run the command line."""
    try:
        from pinchline.cli import app

        app(prog_name="pinchline")
    except KeyboardInterrupt:
        sys.stderr.write("pinchline: interrupted\n")
        sys.exit(130)


if __name__ == "__main__":
    main()
