"""``python -m advisor.schemas [FOLDER]``: writes FOLDER/schemas and FOLDER/messages.md (FOLDER: docs)."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from advisor.schemas import files, page


def main(argv: Sequence[str]) -> int:
    """Writes everything anew; 2 where there is more than one argument or the folder cannot be written."""
    if len(argv) > 1:
        print(f"schemas: {len(argv)} arguments; must be at most one, the folder to write to", file=sys.stderr)
        return 2
    folder = Path(argv[0] if argv else "docs")
    made = {f"schemas/{name}": text for name, text in files.texts().items()} | {"messages.md": page.page()}
    try:
        (folder / "schemas").mkdir(parents=True, exist_ok=True)
        for name, text in made.items():
            (folder / name).write_text(text, encoding="utf-8")
    except OSError as error:
        print(f"{folder}: cannot be written ({error.strerror}); must be a folder for the files", file=sys.stderr)
        return 2
    print(f"{folder}: {len(made)} files written")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
