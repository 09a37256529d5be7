"""Write the table of ``pinchline verify`` into tests/README.md, between two markers.

Run it from the checkout: ``.venv/bin/python tests/insert_dossier.py``. Where a check
fails the page stays as it is.
"""

import re
from pathlib import Path

from pinchline.verify import dossier

README = Path(__file__).parent / "README.md"
BETWEEN = re.compile(r"(<!-- dossier -->\n).*?(<!-- /dossier -->)", re.DOTALL)


def main() -> None:
    text = README.read_text(encoding="utf-8")
    found = dossier.collect()
    if dossier.failures(found):
        raise SystemExit(dossier.as_text(found))
    table = dossier.as_markdown(found)
    written, count = BETWEEN.subn(lambda m: f"{m[1]}\n{table}\n\n{m[2]}", text)
    if count != 1:
        message = "tests/README.md has no place for the dossier, or more than one"
        raise SystemExit(message)
    README.write_text(written, encoding="utf-8")


if __name__ == "__main__":
    main()
